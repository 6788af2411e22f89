import { filesText } from '../../../check/check-text.js';
import { framesText } from '../../../check/finding-text.js';
import { rankMeaning } from '../../../check/page-parts.js';
import type { Finding, FindingFix } from '../../../result/finding.js';
import { html, nothing, type TemplateResult } from '../../lit/lit-html.js';
import type { CheckChoices } from '../../protocol.js';
import { fixLabel, isFixMade } from './choices.js';

export interface VerdictEvents {
  /** Shows the frames of a verdict. */
  onJump(frames: readonly number[]): void;
  /** Makes a fix, or takes it back. */
  onFix(fix: FindingFix): void;
}

/** The verdicts, the gravest first, each with its frames to go to and what a merge can do about it. */
export function verdictList(
  findings: readonly Finding[],
  choices: CheckChoices,
  events: VerdictEvents,
): TemplateResult {
  if (findings.length === 0) return html`<p>Nothing was found amiss.</p>`;
  return html`<ul class="verdict-list">
    ${findings.map((finding) => verdictPart(finding, choices, events))}
  </ul>`;
}

function verdictPart(
  { rank, frames, files = [], message, advice, fixes = [] }: Finding,
  choices: CheckChoices,
  { onJump, onFix }: VerdictEvents,
): TemplateResult {
  const isSettled = fixes.some((fix) => isFixMade(choices, fix));
  return html`<li class=${isSettled ? 'settled' : ''}>
    <div class="head">
      <span class="rank ${rank}">${rankMeaning[rank]}</span>
      ${
        frames.length > 0
          ? html`<button type="button" class="plain" @click=${() => onJump(frames)}>${framesText(frames)}</button>`
          : nothing
      }
    </div>
    <p>${message}</p>
    ${files.length > 0 ? html`<p class="advice">Files: ${filesText(files)}</p>` : nothing}
    ${advice ? html`<p class="advice">${advice}</p>` : nothing}
    ${
      fixes.length > 0
        ? html`<div class="row fixes">
            ${fixes.map(
              (fix) =>
                html`<button type="button" aria-pressed=${isFixMade(choices, fix)} @click=${() => onFix(fix)}>
                  ${fixLabel(fix)}
                </button>`,
            )}
          </div>`
        : nothing
    }
  </li>`;
}

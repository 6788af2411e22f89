import { htmlPage } from '../markup/html-page.js';
import { html, type Markup, noMarkup } from '../markup/markup.js';
import { folderName } from '../stack/folder-name.js';
import { spanText } from '../stack/words.js';
import { clockText, framesText } from './format-night.js';
import { nightGroups, nightSummary } from './night-groups.js';
import { isToLookAt, type NightState, type StackState } from './night-state.js';

const nightStyle = `
.stacks { list-style: none; margin: 0; padding: 0; }
.stacks li.stack { display: grid; grid-template-columns: 11rem 1fr; gap: 0 1.2rem; padding: .9rem 0; border-top: 1px solid var(--line); }
.stacks .picture { min-height: 2rem; }
.stacks h3 { margin: 0; font-size: 1.05rem; overflow-wrap: anywhere; }
.stacks p { margin: .2rem 0; overflow-wrap: anywhere; }
.stacks ul { margin: .2rem 0; padding-left: 1.2rem; }
.stacks .verdicts li:first-child { font-weight: 600; }
.failed, .put-off { border-left: .3rem solid var(--spoil); background: var(--spoil-paper); padding: .4rem .8rem; }
.put-off { border-color: var(--flaw); background: var(--flaw-paper); }
@media (max-width: 40rem) { .stacks li.stack { grid-template-columns: 1fr; } }
`;

/**
 * The page of a night as one HTML document, made from the night list alone. It lies in the folder of the results,
 * to which it links.
 */
export function nightPage(night: NightState, now: Date): string {
  const stacks = [...night.stacks.values()];
  const title = `Night of ${folderName(night.batch?.root ?? '')}`;
  const body = html`<header>
<h1>${title}</h1>
<p class="quiet">As of ${clockText(now)}, Lamella ${night.batch?.programVersion ?? ''}. The same as a table: <a href="night.csv">night.csv</a>.</p>
</header>
<main>
<p class="verdict ${needsLook(stacks) ? 'unfit' : 'fit'}">${nightSummary(stacks)}</p>
<p>${night.end ? night.end.reason : 'The batch has not ended.'}</p>
${nightGroups.map(({ title: heading, holds }) => group(heading, stacks.filter(holds)))}
</main>`;
  return htmlPage(`${title} – Lamella batch`, nightStyle, body);
}

/** Whether something waits for a decision in the morning. */
function needsLook(stacks: readonly StackState[]): boolean {
  return stacks.some((stack) => stack.state === 'failed' || isToLookAt(stack));
}

function group(title: string, stacks: StackState[]): Markup {
  if (stacks.length === 0) return noMarkup;
  return html`<h2>${title}</h2>
<ul class="stacks">
${stacks.map(entry)}</ul>
`;
}

function entry(stack: StackState): Markup {
  const { planned, state, done } = stack;
  // A result that a later attempt did not replace still stands, but its facts are those of former photographs.
  const shown = state === 'done' ? done : undefined;
  const link = encodeURIComponent(planned.name);
  const took = shown ? `, merged in ${spanText(shown.wallMs)}` : '';
  return html`<li class="stack">
<div class="picture">${shown ? html`<a href="${link}/report.html"><img src="${shown.thumbnail}" alt="The composite of ${planned.stack}, made small"></a>` : noMarkup}</div>
<div>
<h3>${shown ? html`<a href="${link}/report.html">${planned.stack}</a>` : planned.stack}</h3>
<p class="quiet">${planned.frames > 0 ? `${framesText(planned)}${took}` : planned.folder}</p>
${reason(stack)}
${shown ? sentences('verdicts', shown.verdicts) : noMarkup}
${shown && shown.warnings.length > 0 ? html`<div class="warnings"><strong>Warnings</strong>${sentences('', shown.warnings)}</div>` : noMarkup}
${shown ? html`<p><a href="${link}/">Result folder</a></p>` : noMarkup}
</div>
</li>
`;
}

function reason({ state, failed, putOff, done, planned }: StackState): Markup {
  const text = state === 'failed' ? failed?.reason : state === 'put off' ? putOff?.reason : undefined;
  if (text === undefined) return noMarkup;
  const former = done
    ? html` An earlier result stands: <a href="${encodeURIComponent(planned.name)}/report.html">${planned.name}</a>.`
    : noMarkup;
  return html`<p class="${state === 'failed' ? 'failed' : 'put-off'}">${text}${former}</p>`;
}

function sentences(className: string, texts: readonly string[]): Markup {
  return html`<ul class="${className}">${texts.map((text) => html`<li>${text}</li>`)}</ul>`;
}

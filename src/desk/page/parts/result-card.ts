import { html, nothing, type TemplateResult } from '../../lit/lit-html.js';
import type { ResultEntry } from '../../protocol.js';
import { momentText } from './format.js';
import { openResult } from './open-result.js';
import { picture } from './thumbnail.js';

/** A result to open; before it is known, its name alone. */
export function resultCard(
  { name, path }: { name: string; path: string },
  known?: ResultEntry | null,
): TemplateResult {
  return html`<li class="card">
    <button type="button" @click=${() => openResult(path)}>
      <span class="pictures">${known ? picture(known.picture, '') : nothing}</span>
      <span class="name">${name}</span>
      <span class="quiet">${known ? `${known.preview === null ? 'merged' : 'previewed'} ${momentText(known.madeAt)}` : 'result of a merge'}</span>
    </button>
  </li>`;
}

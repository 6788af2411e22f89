import { countOf } from '../../../stack/words.js';
import { html, nothing, type TemplateResult } from '../../lit/lit-html.js';
import type { FolderEntry, StackFacts } from '../../protocol.js';
import { momentText, takenText } from './format.js';
import { picture, thumbnailAddress } from './thumbnail.js';

/**
 * A stack to open, with what is known of it.
 *
 * @param known Undefined before it is there, null where nothing could be learnt.
 * @param address Where it leads.
 */
export function stackCard(
  { path, name, photographs }: FolderEntry,
  known: StackFacts | null | undefined,
  address: string,
): TemplateResult {
  const result = known?.results.find(({ preview }) => preview === null) ?? known?.results[0];
  const middle = known?.names[known.names.length >> 1];
  const when = known?.takenMs ? takenText({ first: known.takenMs.first, last: known.takenMs.first }) : '';
  const facts = [countOf(photographs, 'photograph'), when, known?.camera ?? ''];
  return html`<li class="card">
    <a href=${address}>
      <span class="pictures"
        >${middle === undefined ? nothing : picture(thumbnailAddress(path, middle), '')}${result ? picture(result.picture, '') : nothing}</span
      >
      <span class="name">${name}</span>
      <span class="quiet">${facts.filter((text) => text !== '').join(' · ')}</span>
      ${result ? html`<span class="mark">${result.preview === null ? 'merged' : 'previewed'} ${momentText(result.madeAt)}</span>` : nothing}
    </a>
  </li>`;
}

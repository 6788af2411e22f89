import { html, nothing, type TemplateResult } from '../../lit/lit-html.js';
import type { NightEntry, NightView } from '../../protocol.js';
import { openResult } from './open-result.js';
import { picture } from './thumbnail.js';

/** The stacks of a night by what there is to do about them. */
export function nightGroupsOf({ groups }: NightView): TemplateResult[] {
  return groups.map(
    ({ title, stacks }) =>
      html`<h2>${title}</h2>
        <ul class="night">${stacks.map(entry)}</ul>`,
  );
}

function entry(one: NightEntry): TemplateResult {
  const { result } = one;
  return html`<li class=${one.state.replace(' ', '-')}>
    <span class="small">${one.picture === null ? nothing : picture(one.picture, '')}</span>
    <div>
      <h3>${one.stack}</h3>
      <p class="quiet">${one.facts}</p>
      ${one.reason === null ? nothing : html`<p>${one.reason}</p>`}
      ${sentences([...one.verdicts, ...one.warnings])}
    </div>
    ${result !== null ? html`<button type="button" aria-label="Look at ${one.stack}" @click=${() => openResult(result)}>Look</button>` : nothing}
  </li>`;
}

/** The first sentence of a stack, and the others on demand. */
function sentences([first, ...others]: readonly string[]): TemplateResult | typeof nothing {
  if (first === undefined) return nothing;
  if (others.length === 0) return html`<p>${first}</p>`;
  return html`<details><summary>${first}</summary><ul>${others.map((text) => html`<li>${text}</li>`)}</ul></details>`;
}

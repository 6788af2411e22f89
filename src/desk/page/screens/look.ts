import { html, nothing, render, type TemplateResult } from '../../lit/lit-html.js';
import type { ResultEntry } from '../../protocol.js';
import { ask } from '../api.js';
import { showFailure } from '../notice.js';
import { momentText } from '../parts/format.js';
import { openResult } from '../parts/open-result.js';
import { picture } from '../parts/thumbnail.js';
import type { Screen } from '../screen.js';

/** The results at hand; the viewer itself is a page of its own. */
export const lookScreen: Screen = {
  title: 'Look',
  path: 'look',
  guide: 'looking',
  mount(element, context) {
    const gone = new AbortController();
    context.atEnd(() => gone.abort());
    let results: ResultEntry[] | undefined;
    const draw = (): unknown =>
      render(
        html`<h1>Look and mend</h1>
          <p>
            Look at a result closely, trace each spot to its photographs, and mend what came from the wrong one.
          </p>
          ${results === undefined ? nothing : list(results)}`,
        element,
      );
    const load = (): void => {
      ask<ResultEntry[]>('api/results', {}, gone.signal).then((found) => {
        results = found;
        draw();
      }, showFailure);
    };
    let ended = countEnded();
    context.onJobs(() => {
      if (ended === countEnded()) return;
      ended = countEnded();
      load();
    });
    draw();
    load();

    function countEnded(): number {
      return context.jobs().filter(({ endedAt }) => endedAt !== null).length;
    }
  },
};

function list(results: readonly ResultEntry[]): TemplateResult {
  const elsewhere = html`<p class="quiet">
    ${results.length === 0 ? 'Nothing was merged or opened yet since the desk was started.' : 'Earlier results:'}
    <a href="#/places">open one in Places.</a>
  </p>`;
  if (results.length === 0) return elsewhere;
  return html`<ul class="cards">${results.map(card)}</ul>
    ${elsewhere}`;
}

function card(result: ResultEntry): TemplateResult {
  return html`<li class="card">
    <button type="button" @click=${() => openResult(result.path)}>
      <span class="pictures">${picture(result.picture, '')}</span>
      <span class="name">${result.name}</span>
      <span class="quiet">${result.preview === null ? 'merged' : 'previewed'} ${momentText(result.madeAt)}</span>
    </button>
  </li>`;
}

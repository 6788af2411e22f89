import { html, nothing, render, type TemplateResult } from '../../lit/lit-html.js';
import type { ResultEntry } from '../../protocol.js';
import { ask } from '../api.js';
import { showFailure } from '../notice.js';
import { FolderChooser } from '../parts/folder-chooser.js';
import { resultCard } from '../parts/result-card.js';
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
    const chooser = new FolderChooser('look', 'result', context, () => draw());
    const draw = (): unknown =>
      render(
        html`<h1>Look and mend</h1>
          <p>
            Look at a result closely, trace each spot to its photographs, and mend what came from the wrong one.
          </p>
          ${results === undefined ? nothing : list(results)} ${chooser.content(new Set(results?.map(({ path }) => path)))}`,
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
  if (results.length === 0) return html``;
  return html`<h2>Since Lamella was started</h2>
    <ul class="cards">
      ${results.map((result) => resultCard(result, result))}
    </ul>`;
}

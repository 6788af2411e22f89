import { html, nothing, type TemplateResult } from '../../lit/lit-html.js';
import type { FolderEntry, FolderView, PlacesView, ResultEntry, StackFacts } from '../../protocol.js';
import { ask } from '../api.js';
import { type ScreenContext, screenAddress } from '../screen.js';
import { contentText } from './format.js';
import { lastFolder, rememberFolder } from './last-folder.js';
import { resultCard } from './result-card.js';
import { stackCard } from './stack-card.js';

/** Cards whose facts are asked for at once. */
const factsAtOnce = 3;

/** The stacks, or the results, of a folder to choose from, and the way to other folders, all on the screen that asks. */
export class FolderChooser {
  private readonly gone = new AbortController();
  private places: PlacesView | undefined;
  private view: FolderView | undefined;
  private problem = '';
  private readonly stacks = new Map<string, StackFacts | null>();
  private readonly results = new Map<string, ResultEntry | null>();

  /**
   * @param screen Path of the screen: a stack leads to it with its folder.
   * @param draw Called when there is more to show.
   */
  constructor(
    private readonly screen: string,
    private readonly kind: 'stack' | 'result',
    context: ScreenContext,
    private readonly draw: () => void,
  ) {
    context.atEnd(() => this.gone.abort());
    this.load(context.query.get('in')).catch((error: unknown) => {
      if (this.gone.signal.aborted) return;
      this.problem = error instanceof Error ? error.message : String(error);
      draw();
    });
  }

  /** @param listed Paths that the screen shows already. */
  content(listed: ReadonlySet<string> = new Set()): TemplateResult {
    const { view, problem, kind } = this;
    if (problem !== '')
      return html`<p role="alert" class="problem">${problem}</p><p><a href=${screenAddress(this.screen)}>Begin at the top</a></p>`;
    if (!view) return html`<p class="quiet">Reading …</p>`;
    const cards = this.cardsOf(view).filter(({ path }) => !listed.has(path));
    const folders = view.entries.filter((entry) => entry.kind === 'folder' || entry.kind === 'batch');
    const name = view.trail.length === 1 ? view.trail[0].name : view.name;
    return html`${this.trail(view)}
      <h2>${kind === 'stack' ? 'Stacks' : 'Results'} in ${name}</h2>
      ${
        cards.length > 0
          ? html`<ul class="cards">
              ${cards.map((entry) =>
                kind === 'stack'
                  ? stackCard(
                      entry,
                      this.stacks.get(entry.path),
                      screenAddress(this.screen, { folder: entry.path }),
                    )
                  : resultCard(entry, this.results.get(entry.path)),
              )}
            </ul>`
          : html`<p class="quiet">${this.nothingText(folders.length > 0, listed.size > 0)}</p>`
      }
      ${
        folders.length > 0
          ? html`<h2>Folders</h2>
              <ul class="folders">
                ${folders.map(
                  (entry) =>
                    html`<li>
                      <a href=${this.inside(entry.path)}
                        ><span class="name">${entry.name}</span> <span class="quiet">${contentText(entry)}</span></a
                      >
                    </li>`,
                )}
              </ul>`
          : nothing
      }`;
  }

  private nothingText(hasFolders: boolean, hasListed: boolean): string {
    const what = this.kind === 'stack' ? 'stack, three photographs or more,' : 'result of a merge';
    return `No ${hasListed ? 'other ' : ''}${what} lies in this folder itself.${hasFolders ? ' Open one of those below.' : ''}`;
  }

  /** The places, then the folders above. */
  private trail({ trail, path }: FolderView): TemplateResult {
    const roots = (this.places?.roots ?? []).filter((root) => root.path !== trail[0].path);
    const sample = this.kind === 'stack' ? this.places?.sample : undefined;
    const above = trail.filter((step) => step.path !== path);
    return html`<nav class="trail" aria-label="Other folders">
      ${above.map((step) => html`<a href=${this.inside(step.path)}>${step.name}</a><span aria-hidden="true">/</span>`)}
      ${roots.map((root) => html`<a href=${this.inside(root.path)}>${root.name}</a>`)}
      ${typeof sample === 'string' && sample !== path ? html`<a href=${screenAddress(this.screen, { folder: sample })}>Sample stack</a>` : nothing}
    </nav>`;
  }

  private inside(path: string): string {
    return screenAddress(this.screen, { in: path });
  }

  private async load(wanted: string | null): Promise<void> {
    const { signal } = this.gone;
    this.places = await ask<PlacesView>('api/places', {}, signal);
    const first = this.places.roots[0]?.path;
    if (wanted !== null) {
      this.view = await ask<FolderView>('api/folder', { path: wanted }, signal);
      rememberFolder(wanted);
    } else if (first !== undefined) this.view = await this.nearest(lastFolder(), first);
    else return;
    this.draw();
    const paths = this.cardsOf(this.view).map((entry) => entry.path);
    const next = (): Promise<void> =>
      this.kind === 'stack'
        ? this.learn(paths, 'api/stack', this.stacks)
        : this.learn(paths, 'api/result', this.results);
    await Promise.all(Array.from({ length: factsAtOnce }, next));
  }

  /** The folder that was looked at last, or the nearest one above it that has what is wanted. */
  private async nearest(last: string | null, first: string): Promise<FolderView> {
    const { signal } = this.gone;
    const top = (): Promise<FolderView> => ask<FolderView>('api/folder', { path: first }, signal);
    if (last === null) return top();
    // It may have gone.
    let view = await ask<FolderView>('api/folder', { path: last }, signal).catch(top);
    for (const { path } of view.trail.toReversed().slice(1)) {
      if (this.cardsOf(view).length > 0) break;
      view = await ask<FolderView>('api/folder', { path }, signal);
    }
    return view;
  }

  private cardsOf(view: FolderView): FolderEntry[] {
    return [view, ...view.entries].filter(({ kind }) => kind === this.kind);
  }

  private async learn<T>(paths: string[], route: string, known: Map<string, T | null>): Promise<void> {
    for (let path = paths.shift(); path !== undefined; path = paths.shift()) {
      const answer = await ask<T>(route, { path }, this.gone.signal).catch(() => null);
      if (this.gone.signal.aborted) return;
      known.set(path, answer);
      this.draw();
    }
  }
}

import { countOf } from '../../../stack/words.js';
import { html, nothing, render, type TemplateResult } from '../../lit/lit-html.js';
import type { FolderEntry, FolderView, PlacesView, ResultEntry, StackFacts } from '../../protocol.js';
import { ask, send } from '../api.js';
import { showFailure } from '../notice.js';
import { takeDrop } from '../parts/dropped-folder.js';
import { contentText, momentText, stackFactsTexts } from '../parts/format.js';
import { jobProgress } from '../parts/job-progress.js';
import { rememberFolder } from '../parts/last-folder.js';
import { openResult } from '../parts/open-result.js';
import { resultCard } from '../parts/result-card.js';
import { stackCard } from '../parts/stack-card.js';
import { picture, thumbnailAddress } from '../parts/thumbnail.js';
import { goTo, type Screen, type ScreenContext, screenAddress } from '../screen.js';

/** Photographs of a stack that are shown small. */
const maxShown = 60;
/** Stacks whose facts are asked for at once. */
const factsAtOnce = 3;

export const placesScreen: Screen = { title: 'Places', path: 'places', guide: 'stack', mount };

function mount(element: HTMLElement, context: ScreenContext): void {
  const wanted = context.query.get('folder');
  const gone = new AbortController();
  context.atEnd(() => gone.abort());
  let places: PlacesView | undefined;
  let view: FolderView | undefined;
  let problem = '';
  /** Facts by path; null for a stack of which nothing could be learnt. */
  const facts = new Map<string, StackFacts | null>();
  const results = new Map<string, ResultEntry | null>();
  const draw = (): unknown => render(content(), element);

  context.onJobs(draw);
  takeDrop(document.body, gone.signal, (path) => goTo('places', { folder: path }));
  draw();
  void load().catch((error: unknown) => {
    if (gone.signal.aborted) return;
    problem = error instanceof Error ? error.message : String(error);
    draw();
  });

  async function load(): Promise<void> {
    places = await ask<PlacesView>('api/places', {}, gone.signal);
    draw();
    const path = wanted ?? places.roots[0]?.path;
    if (path === undefined) return;
    view = await ask<FolderView>('api/folder', { path }, gone.signal);
    rememberFolder(view.path);
    draw();
    const stacks = [view, ...view.entries].filter(({ kind }) => kind === 'stack').map((entry) => entry.path);
    await Promise.all(Array.from({ length: factsAtOnce }, () => learn(stacks, 'api/stack', facts)));
    const others = loneResults(view).map((entry) => entry.path);
    await Promise.all(Array.from({ length: factsAtOnce }, () => learn(others, 'api/result', results)));
  }

  /** Asks what is known of each path; null where nothing is. */
  async function learn<T>(paths: string[], route: string, answers: Map<string, T | null>): Promise<void> {
    for (let path = paths.shift(); path !== undefined; path = paths.shift()) {
      const known = await ask<T>(route, { path }, gone.signal).catch(() => null);
      if (gone.signal.aborted) return;
      answers.set(path, known);
      draw();
    }
  }

  /** The results in a folder but for those of its stacks, which are shown with them. */
  function loneResults({ entries }: FolderView): FolderEntry[] {
    const beside = [...facts.values()].flatMap((known) => known?.results.map(({ path }) => path) ?? []);
    return entries.filter(({ kind, path }) => kind === 'result' && !beside.includes(path));
  }

  function content(): TemplateResult {
    return html`<div class="places">
      <nav class="roots" aria-label="Places">
        ${places?.roots.map(
          ({ name, path }) =>
            html`<a
              href=${screenAddress('places', { folder: path })}
              aria-current=${view?.trail[0].path === path ? 'location' : 'false'}
              >${name}</a
            >`,
        )}
        ${sampleLink()}
      </nav>
      <div class="place">${problem ? html`<h1>Places</h1><p role="alert" class="problem">${problem}</p><p class="quiet">Choose one of the places listed here, or type the path of another folder.</p>` : view ? folder(view) : html`<h1>Places</h1><p class="quiet">Reading …</p>`}</div>
      <div class="by-path">
        <form class="path" @submit=${openPath}>
          <label for="path">Path of a folder</label>
          <div class="path-row">
            <input id="path" name="path" autocomplete="off" spellcheck="false" />
            <button type="submit">Open</button>
          </div>
        </form>
        <p class="quiet drop-hint">A folder can also be dropped anywhere on this page.</p>
      </div>
    </div>`;
  }

  function sampleLink(): TemplateResult | typeof nothing {
    if (!places) return nothing;
    const { sample } = places;
    const job = context.jobs().find(({ kind }) => kind === 'sample');
    if (job && job.endedAt === null) return html`<div class="sample-job">${jobProgress(job)}</div>`;
    const isCurrent = view !== undefined && view.path === sample;
    if (sample !== null)
      return html`<a href=${screenAddress('places', { folder: sample })} aria-current=${isCurrent ? 'location' : 'false'}>Sample stack</a>`;
    return html`<button type="button" @click=${makeSample}>Sample stack <span class="quiet">(half a minute to render)</span></button>`;
  }

  async function makeSample(): Promise<void> {
    try {
      const { id } = await send<{ id: number }>('api/places/sample', {});
      context.onJobs(() => {
        const job = context.jobs().find((one) => one.id === id);
        if (job?.state === 'done') goTo('places', { folder: job.folder });
        else if (job?.state === 'failed') showFailure(new Error(job.message));
      });
    } catch (error) {
      showFailure(error);
    }
  }

  function openPath(event: SubmitEvent): void {
    event.preventDefault();
    const path = new FormData(event.target as HTMLFormElement).get('path');
    if (typeof path === 'string' && path.trim() !== '') goTo('places', { folder: path.trim() });
  }

  function folder(shown: FolderView): TemplateResult {
    const { entries, more } = shown;
    const stacks = entries.filter(({ kind }) => kind === 'stack');
    const lone = loneResults(shown);
    const others = entries.filter(({ kind }) => kind === 'folder' || kind === 'batch');
    return html`${trail(shown)}
      <h1>${shown.trail.length === 1 ? shown.trail[0].name : shown.name}</h1>
      ${shown.kind === 'folder' && stacks.length === 0 ? html`<p class="quiet">${noStackText(shown)}</p>` : nothing}
      ${shown.kind === 'stack' ? stackHead(shown) : nothing}
      ${shown.kind === 'result' ? html`<p>This is the result of a merge.</p><p class="row"><button class="main" type="button" @click=${() => openResult(shown.path)}>Look at it</button></p>` : nothing}
      ${shown.kind === 'batch' ? html`<p>Results of a batch lie here.</p><p class="row"><a class="button main" href=${screenAddress('night', { results: shown.path })}>How the night went</a></p>` : nothing}
      ${
        stacks.length > 0
          ? html`<h2>${countOf(stacks.length, 'stack')} <a class="beside" href=${screenAddress('night', { folder: shown.path })}>Merge several</a></h2><ul class="cards">${stacks.map((entry) => stackCard(entry, facts.get(entry.path), screenAddress('places', { folder: entry.path })))}</ul>`
          : nothing
      }
      ${others.length > 0 ? html`<h2>Folders</h2><ul class="folders">${others.map(folderLine)}</ul>` : nothing}
      ${lone.length > 0 ? html`<h2>Results</h2><ul class="cards">${lone.map((entry) => resultCard(entry, results.get(entry.path)))}</ul>` : nothing}
      ${more > 0 ? html`<p class="quiet">and ${more} more folders, which are not listed</p>` : nothing}
      ${shown.kind === 'folder' ? html`<p class="row foot"><a class="button" href=${screenAddress('shoot', { folder: shown.path })}>Shoot into it</a> <span class="quiet">Each photograph is judged as it arrives in this folder.</span></p>` : nothing}`;
  }

  function trail({ trail: steps }: FolderView): TemplateResult | typeof nothing {
    if (steps.length < 2) return nothing;
    return html`<nav class="trail" aria-label="Folders above">
      ${steps
        .slice(0, -1)
        .map(
          ({ name, path }) =>
            html`<a href=${screenAddress('places', { folder: path })}>${name}</a><span aria-hidden="true">/</span>`,
        )}
    </nav>`;
  }

  function stackHead({ path, name }: FolderView): TemplateResult {
    const known = facts.get(path);
    if (known === null) return html`<p class="quiet">The photographs cannot be read.</p>`;
    const result = known?.results[0];
    return html`<p class="facts">${known ? stackFactsTexts(known).join(' · ') : 'Reading …'}</p>
      <div class="row actions">
        <a class="button main" href=${screenAddress('merge', { folder: path })}>Merge</a>
        <a class="button" href=${screenAddress('check', { folder: path })}>Check</a>
        <a class="button" href=${screenAddress('shoot', { folder: path })}>Shoot into it</a>
        ${result ? html`<button type="button" @click=${() => openResult(result.path)}>Look at the result</button>` : nothing}
      </div>
      ${result ? html`<p class="quiet">${result.preview === null ? 'Merged' : 'Previewed'} ${momentText(result.madeAt)}: ${result.name}</p>` : nothing}
      ${
        known
          ? html`<ul class="strip" aria-label="Photographs of ${name}">${known.names.slice(0, maxShown).map((photograph) => html`<li>${picture(thumbnailAddress(path, photograph, 160), '')}<span>${photograph}</span></li>`)}</ul>
      ${known.names.length > maxShown ? html`<p class="quiet">and ${known.names.length - maxShown} more</p>` : nothing}`
          : nothing
      }`;
  }
}

/** What there is to do in a folder in which no stack lies. */
function noStackText({ photographs, entries }: FolderView): string {
  const what =
    'A stack is a folder with three photographs or more of one subject, each focused a little farther';
  if (photographs > 0)
    return `${countOf(photographs, 'photograph')} lie${photographs === 1 ? 's' : ''} here. ${what}.`;
  return entries.length === 0
    ? `This folder is empty. ${what}.`
    : `${what}: open the one that holds yours, or try the sample stack.`;
}

function folderLine(entry: FolderEntry): TemplateResult {
  const text = entry.kind === 'batch' ? 'results of a batch' : contentText(entry);
  return html`<li><a href=${screenAddress('places', { folder: entry.path })}><span class="name">${entry.name}</span> <span class="quiet">${text}</span></a></li>`;
}

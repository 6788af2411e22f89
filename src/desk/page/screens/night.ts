import { countOf, spanText } from '../../../stack/words.js';
import { repeat } from '../../lit/directives/repeat.js';
import { html, nothing, render, type TemplateResult } from '../../lit/lit-html.js';
import { optionLabels } from '../../option-labels.js';
import type { NightForm, NightOrder, NightStack, NightView, PlacesView } from '../../protocol.js';
import { ask, send } from '../api.js';
import type { Job } from '../jobs.js';
import { showFailure } from '../notice.js';
import { aboutText, momentText } from '../parts/format.js';
import { cancelJob } from '../parts/job-progress.js';
import { lastFolder } from '../parts/last-folder.js';
import { lengthField, lengthOf } from '../parts/merge-fields.js';
import { nightGroupsOf } from '../parts/night-groups.js';
import { picture } from '../parts/thumbnail.js';
import { goTo, type Screen, type ScreenContext, screenAddress } from '../screen.js';

export const nightScreen: Screen = {
  title: 'Night',
  path: 'night',
  guide: 'many-stacks',
  mount(element, context) {
    const gone = new AbortController();
    context.atEnd(() => gone.abort());
    const job = context.query.get('job');
    const folder = context.query.get('folder');
    const results = context.query.get('results');
    if (folder !== null) showForm(element, folder, context.query.get('into'), gone.signal);
    else if (job !== null || results !== null) showNight(element, context, gone.signal, job, results);
    else showStart(element, context, gone.signal);
  },
};

/** Which stacks, in which order, into which folder, until when. */
function showForm(element: HTMLElement, folder: string, givenInto: string | null, gone: AbortSignal): void {
  let into = givenInto;
  let form: NightForm | undefined;
  let problem = '';
  /** All that can be merged, in the order that is chosen, and those of them that are ticked. */
  let order: NightStack[] = [];
  const ticked = new Set<string>();
  const draw = (): unknown => render(content(), element);
  draw();
  load(into).then(
    (answer) => {
      take(answer);
    },
    (error: unknown) => {
      if (gone.aborted) return;
      problem = error instanceof Error ? error.message : String(error);
      draw();
    },
  );

  function load(place: string | null): Promise<NightForm> {
    return ask<NightForm>('api/night/form', { folder, ...(place !== null && { into: place }) }, gone);
  }

  function take(answer: NightForm): void {
    form = answer;
    order = answer.stacks.filter(({ fault }) => fault === null);
    ticked.clear();
    for (const { stack, isFinished } of order) if (!isFinished) ticked.add(stack);
    draw();
  }

  /** What is merged already depends on where the results lie. */
  async function changePlace(event: Event): Promise<void> {
    const text = (event.target as HTMLInputElement).value.trim();
    const place = text === '' ? null : text;
    try {
      const answer = await load(place);
      into = place;
      take(answer);
    } catch (error) {
      if (!gone.aborted) showFailure(error);
    }
  }

  function content(): TemplateResult {
    if (problem)
      return html`<h1>Night</h1><p role="alert" class="problem">${problem}</p><p><a href="#/night">Choose another folder</a></p>`;
    if (!form) return html`<h1>Night</h1><p role="status">Looking for stacks below ${folder} …</p>`;
    const { status, stacks, out } = form;
    const faults = stacks.filter(({ fault }) => fault !== null);
    const chosen = order.filter(({ stack }) => ticked.has(stack));
    const totalS = chosen.reduce((sum, { estimateS }) => sum + estimateS, 0);
    return html`<h1>Night</h1>
      <p>The stacks below <b>${folder}</b> that are ticked are merged one after the other.</p>
      ${
        status
          ? html`<p class="earlier">${status.isRunning ? 'A night over this folder is running: ' : 'So far: '}${status.summary}.
        <a href=${screenAddress('night', { results: out })}>See it</a></p>`
          : nothing
      }
      ${
        order.length === 0
          ? html`<p class="quiet">There is no stack that can be merged here.</p>`
          : html`<form @submit=${start}>
            <ol class="order">
              ${repeat(order, ({ stack }) => stack, line)}
            </ol>
            <div class="terms">
              <label class="length" for="until"><span>Until <span class="quiet">(nothing is begun that would end later)</span></span>
                <input id="until" name="until" type="time" /></label>
              <details>
                <summary>For all stacks</summary>
                ${lengthField('stepMm', form.known.stepMm, 'rail travel, the same in all; without it depth is in steps')}
                ${lengthField('fieldWidthMm', form.known.fieldWidthMm, 'subject across a photograph, the same in all')}
                <label class="length" for="into"><span>${optionLabels.out}</span>
                  <input id="into" name="into" placeholder="the folder above the stacks" autocomplete="off" spellcheck="false" value=${into ?? ''} @change=${changePlace} /></label>
              </details>
              <p class="row">
                <button class="main" type="submit" ?disabled=${chosen.length === 0}>${status && chosen.length > 0 ? 'Go on with' : 'Merge'} ${countOf(chosen.length, 'stack')}</button>
                <span class="quiet">${chosen.length > 0 ? `${aboutText(totalS)}, into ${out}` : ''}</span>
              </p>
            </div>
          </form>`
      }
      ${faults.length > 0 ? html`<h2>Cannot be merged</h2><ul class="remarks">${faults.map(({ stack, fault }) => html`<li class="flaw"><b>${stack}</b> ${fault}</li>`)}</ul>` : nothing}`;
  }

  function line(one: NightStack, i: number): TemplateResult {
    const id = `tick-${i}`;
    const { stack, frames, estimateS, isFinished } = one;
    return html`<li>
      <input id=${id} type="checkbox" .checked=${ticked.has(stack)} @change=${(event: Event) => tick(stack, (event.target as HTMLInputElement).checked)} />
      <label for=${id}>
        <span class="small">${one.picture === null ? nothing : picture(one.picture, '')}</span>
        <span class="words"><span class="name">${nameOf(one)}</span>
        <span class="quiet">${countOf(frames, 'frame')}, ${isFinished ? 'merged already' : aboutText(estimateS)}</span></span>
      </label>
      <span class="moves">
        <button type="button" aria-label="Move ${nameOf(one)} up" ?disabled=${i === 0} @click=${() => move(i, -1)}>↑</button>
        <button type="button" aria-label="Move ${nameOf(one)} down" ?disabled=${i === order.length - 1} @click=${() => move(i, 1)}>↓</button>
      </span>
    </li>`;
  }

  function tick(stack: string, isOn: boolean): void {
    if (isOn) ticked.add(stack);
    else ticked.delete(stack);
    draw();
  }

  function move(from: number, by: -1 | 1): void {
    const [moved] = order.splice(from, 1);
    order.splice(from + by, 0, moved);
    draw();
  }

  async function start(event: SubmitEvent): Promise<void> {
    event.preventDefault();
    const data = new FormData(event.target as HTMLFormElement);
    const text = (name: string): string => String(data.get(name) ?? '').trim();
    const wanted: NightOrder = {
      folder,
      into: text('into') === '' ? null : text('into'),
      stacks: order.flatMap(({ stack }) => (ticked.has(stack) ? [stack] : [])),
      until: text('until') === '' ? null : text('until'),
      choices: { stepMm: lengthOf(text('stepMm')), fieldWidthMm: lengthOf(text('fieldWidthMm')) },
    };
    try {
      const { id } = await send<{ id: number }>('api/night', wanted);
      goTo('night', { job: String(id) });
    } catch (error) {
      showFailure(error);
    }
  }
}

function nameOf({ stack, folder }: NightStack): string {
  return stack === '.' ? (folder.split(/[\\/]/).at(-1) ?? folder) : stack;
}

/** A night that goes on, or how it went: the morning page. */
function showNight(
  element: HTMLElement,
  context: ScreenContext,
  gone: AbortSignal,
  id: string | null,
  results: string | null,
): void {
  let view: NightView | undefined;
  let asking = false;
  const jobOf = (): Job | undefined =>
    context
      .jobs()
      .find((job) => job.kind === 'night' && (id === null ? job.out === results : String(job.id) === id));
  const draw = (): unknown => render(content(), element);
  const load = (): void => {
    const out = jobOf()?.out ?? results;
    if (out === null || out === undefined || asking) return;
    asking = true;
    ask<NightView | null>('api/night', { out }, gone)
      .then((answer) => {
        view = answer ?? undefined;
        draw();
      })
      .catch(showFailure)
      .finally(() => {
        asking = false;
      });
  };
  context.onJobs(() => {
    if (!view) load();
    draw();
  });
  context.onEvent('night', load);
  draw();
  load();

  function content(): TemplateResult {
    const job = jobOf();
    const isRunning = job !== undefined && job.endedAt === null;
    return html`<h1>${isRunning ? 'The night goes on' : 'How the night went'}</h1>
      ${view ? html`<p class="stage">${view.summary}.</p>` : nothing}
      ${isRunning ? running(job) : html`${job?.state === 'done' ? nothing : html`<p class="quiet">${job?.message || view?.end || ''}</p>`}`}
      ${!isRunning && view?.isRunning ? html`<p>Another process of Lamella is at it.</p>` : nothing}
      ${!isRunning && view && !view.isRunning ? html`<p class="row"><a class="button" href=${screenAddress('night', { folder: view.folder, into: view.into ?? undefined })}>Go on, or choose others</a></p>` : nothing}
      ${view ? nightGroupsOf(view) : nothing}`;
  }
}

function running(job: Job): TemplateResult {
  const left = job.leftS === null ? '' : `about ${spanText(job.leftS * 1000)} left`;
  return html`<div class="going">
    <p role="status">${job.stage}</p>
    <progress class="wide" max="1" .value=${job.share} aria-label="Progress of the night"></progress>
    <p class="row"><span class="quiet left">${left}</span><button type="button" @click=${() => cancelJob(job)}>Stop</button></p>
    <p class="quiet">Finished stacks are kept when it is stopped. It goes on when this page is closed.</p>
  </div>`;
}

/** Without a folder: what ran, and where to look for stacks. */
function showStart(element: HTMLElement, context: ScreenContext, gone: AbortSignal): void {
  let places: PlacesView | undefined;
  const draw = (): void => {
    const last = lastFolder();
    const lastName = last?.split(/[\\/]/).at(-1) ?? '';
    const folders = [
      ...(last === null ? [] : [{ name: lastName, path: last }]),
      ...(places?.roots ?? []).filter(({ path }) => path !== last),
    ];
    const nights = context.jobs().filter(({ kind }) => kind === 'night');
    render(
      html`<h1>Night</h1>
        <p>Merge many stacks one after the other, while nobody waits. Choose the folder below which they lie:</p>
        <ul class="folders">${folders.map(({ name, path }) => html`<li><a href=${screenAddress('night', { folder: path })}><span class="name">${name}</span><span class="quiet">${path}</span></a></li>`)}</ul>
        <p class="quiet">Another folder: <a href="#/places">open it in Places</a>, and come back.</p>
        ${nights.length > 0 ? html`<h2>Nights</h2><ul class="folders">${nights.map(nightLine)}</ul>` : nothing}`,
      element,
    );
  };
  context.onJobs(draw);
  draw();
  ask<PlacesView>('api/places', {}, gone).then((answer) => {
    places = answer;
    draw();
  }, showFailure);
}

function nightLine(job: Job): TemplateResult {
  const state = job.endedAt === null ? 'running' : job.message;
  return html`<li><a href=${screenAddress('night', { job: String(job.id) })}><span class="name">${job.title}</span>
    <span class="quiet">${job.startedAt === null ? '' : `${momentText(job.startedAt)}: `}${state}</span></a></li>`;
}

import { stageTitles } from '../../../merge/stage-titles.js';
import { spanText } from '../../../stack/words.js';
import { html, nothing, render, type TemplateResult } from '../../lit/lit-html.js';
import type { MergeChoices, MergeForm, MergeOrder, ResultEntry, StackFacts } from '../../protocol.js';
import { ask, send } from '../api.js';
import type { Job } from '../jobs.js';
import { showFailure } from '../notice.js';
import { FolderChooser } from '../parts/folder-chooser.js';
import { aboutText, momentText } from '../parts/format.js';
import { cancelJob } from '../parts/job-progress.js';
import { framesOf, mergeFields, readChoices } from '../parts/merge-fields.js';
import { openResult } from '../parts/open-result.js';
import { picture, thumbnailAddress } from '../parts/thumbnail.js';
import { goTo, type Screen, type ScreenContext, screenAddress } from '../screen.js';

export const mergeScreen: Screen = {
  title: 'Merge',
  path: 'merge',
  guide: 'merging',
  mount(element, context) {
    const job = context.query.get('job');
    const folder = context.query.get('folder');
    if (job !== null) showJob(element, context, Number(job));
    else if (folder !== null) showForm(element, context, folder);
    else showList(element, context);
  },
};

/** Before the work: the choices, with defaults that suit most stacks. */
function showForm(element: HTMLElement, context: ScreenContext, folder: string): void {
  const gone = new AbortController();
  context.atEnd(() => gone.abort());
  let form: MergeForm | undefined;
  let problem = '';
  const draw = (): unknown => render(content(), element);
  draw();
  ask<MergeForm>('api/merge/form', { folder, order: context.query.get('order') ?? '' }, gone.signal).then(
    (answer) => {
      form = answer;
      draw();
    },
    (error: unknown) => {
      if (gone.signal.aborted) return;
      problem = error instanceof Error ? error.message : String(error);
      draw();
    },
  );

  function content(): TemplateResult {
    if (problem) {
      return html`<h1>Merge</h1><p role="alert" class="problem">${problem}</p><p><a href=${screenAddress('places', { folder })}>Back to the folder</a></p>`;
    }
    if (!form) return html`<h1>Merge</h1><p class="quiet">Reading the photographs …</p>`;
    const { name, frames, size, warnings, estimateS } = form;
    const middle = frames[frames.length >> 1];
    return html`<div class="halves">
      <figure class="view">${picture(thumbnailAddress(folder, middle.name, 1280), `One photograph of ${name}`)}</figure>
      <form class="side" @submit=${start} @change=${changed}>
        <h1>${name}</h1>
        <p class="quiet">
          <a href=${screenAddress('places', { folder })}>${frames.length} photographs</a>, ${size.width} × ${size.height} pixels
        </p>
        ${warnings.length > 0 ? html`<ul class="remarks">${warnings.map((text) => html`<li class="flaw">${text}</li>`)}</ul>` : nothing}
        ${mergeFields(form, { ...form.known, ...choicesOf(context.query) })}
        <p class="row go">
          <button class="main" type="submit">Merge</button>
          <span class="quiet">${aboutText(Math.max(5, estimateS))}</span>
        </p>
      </form>
    </div>`;
  }

  function changed({ target, currentTarget }: Event): void {
    const { name, value } = target as HTMLSelectElement;
    if (name === 'order') void reorder(currentTarget as HTMLFormElement, value).catch(showFailure);
  }

  /** Frames are numbered by their order: what is chosen by number stays with its photographs. */
  async function reorder(fields: HTMLFormElement, order: string): Promise<void> {
    const { anchor, skip = [] } = readChoices(new FormData(fields));
    const old = new Map(form!.frames.map(({ number, name }) => [number, name]));
    form = await ask<MergeForm>('api/merge/form', { folder, order }, gone.signal);
    draw();
    const numbers = new Map(form.frames.map(({ number, name }) => [name, number]));
    const numberNow = (number: number): number => numbers.get(old.get(number) ?? '') ?? number;
    const field = (name: string) => fields.elements.namedItem(name) as HTMLInputElement;
    if (typeof anchor === 'number') field('anchor').value = String(numberNow(anchor));
    field('skip').value = skip
      .map(numberNow)
      .sort((first, second) => first - second)
      .join(', ');
  }

  async function start(event: SubmitEvent): Promise<void> {
    event.preventDefault();
    const data = new FormData(event.target as HTMLFormElement);
    const order: MergeOrder = {
      folder,
      choices: readChoices(data),
      into: String(data.get('into') ?? '').trim() || null,
      replace: data.get('place') === 'replace',
      previewFirst: data.get('previewFirst') !== null,
    };
    try {
      const { id } = await send<{ id: number }>('api/merge', order);
      goTo('merge', { job: String(id) });
    } catch (error) {
      showFailure(error);
    }
  }
}

/** Choices that another screen hands over in the address, such as frames to leave out. */
function choicesOf(query: URLSearchParams): MergeChoices {
  const choices: MergeChoices = {};
  const step = Number(query.get('step') ?? Number.NaN);
  if (step > 0) choices.stepMm = step;
  const width = Number(query.get('fieldWidth') ?? Number.NaN);
  if (width > 0) choices.fieldWidthMm = width;
  const skip = query.get('skip');
  if (skip !== null) choices.skip = framesOf(skip).filter((number) => number > 0);
  const order = query.get('order');
  if (order === 'time' || order === 'name') choices.order = order;
  const direction = query.get('direction');
  if (direction === 'near-to-far' || direction === 'far-to-near') choices.direction = direction;
  return choices;
}

/** While the work goes on, and when it has ended. */
function showJob(element: HTMLElement, context: ScreenContext, id: number): void {
  let wasRunning = false;
  let first: string | undefined;
  let result: string | undefined;
  const asked = new Set<string>();
  const draw = (): void => {
    const job = context.jobs().find((one) => one.id === id);
    render(
      job
        ? content(job)
        : html`<h1>Merge</h1><p class="quiet">This merge is no longer listed. <a href="#/merge">Merges</a></p>`,
      element,
    );
    if (!job) return;
    void showPicture(job);
    if (job.endedAt === null) wasRunning = true;
    else if (wasRunning && job.state === 'done' && job.out !== null) {
      wasRunning = false;
      void openResult(job.out);
    }
  };
  context.onJobs(draw);
  draw();

  /** Until there is something better a photograph of the stack, and in the end the result. */
  async function showPicture({ state, folder, out }: Job): Promise<void> {
    if (!asked.has('first')) {
      asked.add('first');
      const facts = await ask<StackFacts>('api/stack', { path: folder }).catch(() => undefined);
      if (facts) first = thumbnailAddress(folder, facts.names[facts.names.length >> 1], 1280);
      draw();
    }
    if (state === 'done' && out !== null && !asked.has('result')) {
      asked.add('result');
      const known = await ask<ResultEntry | null>('api/result', { path: out }).catch(() => null);
      result = known?.picture.replace('side=320', 'side=1280');
      draw();
    }
  }

  function content(job: Job): TemplateResult {
    const isOver = job.endedAt !== null;
    const shown = result ?? (job.picture > 0 ? `picture?job=${job.id}&version=${job.picture}` : first);
    return html`<div class="halves">
      <figure class="view ${isOver || job.picture > 0 ? '' : 'early'}">
        ${shown === undefined ? nothing : picture(shown, result ? `The result of ${job.title}` : job.picture > 0 ? `${job.title}: ${job.pictureText}` : `One photograph of ${job.title}`)}
        ${isOver ? nothing : html`<figcaption>${job.picture > 0 ? job.pictureText : 'One photograph of the stack'}</figcaption>`}
      </figure>
      <div class="side">
        <h1>${job.title}</h1>
        ${isOver ? ended(job) : running(job)}
        ${remarks(job)}
      </div>
    </div>`;
  }
}

const stages: readonly string[] = Object.values(stageTitles);

function running(job: Job): TemplateResult {
  const left = job.leftS === null ? '' : `about ${spanText(job.leftS * 1000)} left`;
  const at = stages.indexOf(job.stage);
  return html`<p class="stage" role="status">${job.stage}</p>
    <progress class="wide" max="1" .value=${job.share} aria-label="Progress of ${job.title}"></progress>
    <p class="quiet left">${left} </p>
    ${
      at < 0
        ? nothing
        : html`<ol class="stages">
            ${stages.map((title, i) => html`<li class=${i < at ? 'done' : ''} aria-current=${i === at ? 'step' : 'false'}>${title}</li>`)}
          </ol>`
    }
    <p class="row"><button type="button" @click=${() => cancelJob(job)}>Cancel</button></p>
    <p class="quiet">It goes on when this page is closed.</p>`;
}

function ended(job: Job): TemplateResult {
  const again = html`<a class="button" href=${screenAddress('merge', { folder: job.folder })}>${job.state === 'done' ? 'Merge again' : 'Back to the choices'}</a>`;
  if (job.state === 'done') {
    return html`<p class="stage">${job.message}</p>
      <p class="row"><button class="main" type="button" @click=${() => openResult(job.out!)}>Look at it</button>${again}</p>
      <p class="quiet">${job.out}</p>`;
  }
  return html`<p class="stage ${job.state === 'failed' ? 'problem' : ''}" role="alert">${job.message}</p><p class="row">${again}</p>`;
}

function remarks({ remarks: all }: Job): TemplateResult | typeof nothing {
  const told = all.filter(({ rank }) => rank !== 'note');
  const notes = all.filter(({ rank }) => rank === 'note');
  if (all.length === 0) return nothing;
  return html`${told.length > 0 ? html`<ul class="remarks">${told.map(({ rank, text }) => html`<li class=${rank}>${text}</li>`)}</ul>` : nothing}
  ${notes.length > 0 ? html`<details><summary>${notes.length === 1 ? 'A note' : `${notes.length} notes`}</summary><ul class="remarks">${notes.map(({ text }) => html`<li>${text}</li>`)}</ul></details>` : nothing}`;
}

/** Without a stack: what was merged, and the stacks to choose from. */
function showList(element: HTMLElement, context: ScreenContext): void {
  const chooser = new FolderChooser('merge', 'stack', context, () => draw());
  const draw = (): void => {
    const merges = context.jobs().filter(({ kind }) => kind === 'merge');
    render(
      html`<h1>Merge</h1>
        <p>One picture, sharp throughout, is made of the photographs of a stack. Choose the stack:</p>
        ${merges.length > 0 ? html`<h2>Since Lamella was started</h2><ul class="folders merges">${merges.map(line)}</ul>` : nothing}
        ${chooser.content()}`,
      element,
    );
  };
  context.onJobs(draw);
  draw();
}

const stateWords: Record<Job['state'], string> = {
  waiting: 'waiting',
  running: 'merging',
  done: 'merged',
  failed: 'failed',
  cancelled: 'cancelled',
};

function line(job: Job): TemplateResult {
  const when = job.endedAt ?? job.startedAt;
  return html`<li><a href=${screenAddress('merge', { job: String(job.id) })}><span class="name">${job.title}</span>
    <span class="quiet">${stateWords[job.state]}${when === null ? '' : ` ${momentText(when)}`}</span></a></li>`;
}

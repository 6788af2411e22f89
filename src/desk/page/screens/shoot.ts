import { html, nothing, render, type TemplateResult } from '../../lit/lit-html.js';
import type { ShootOrder, ShootView } from '../../protocol.js';
import { ask, send } from '../api.js';
import type { Job } from '../jobs.js';
import { showFailure } from '../notice.js';
import { cancelJob } from '../parts/job-progress.js';
import { picture, thumbnailAddress } from '../parts/thumbnail.js';
import { goTo, type Screen, type ScreenContext, screenAddress } from '../screen.js';
import { depthAxis } from '../shoot/depth-axis.js';
import { Tones } from '../shoot/tones.js';

export const shootScreen: Screen = {
  title: 'Shoot',
  path: 'shoot',
  guide: 'checking',
  mount(element, context) {
    const job = context.query.get('job');
    if (job === null) showForm(element, context);
    else showWatch(element, context, Number(job));
  },
};

/** Kept from one stack to the next. */
const tones = new Tones();

/** Before the watch: the folder into which frames arrive, and what the plan says. */
function showForm(element: HTMLElement, context: ScreenContext): void {
  const { query } = context;
  const draw = (): void => {
    const running = context.jobs().filter(({ kind, endedAt }) => kind === 'watch' && endedAt === null);
    render(
      html`<h1>Shoot</h1>
        <p>Frames are judged as they arrive in a folder: through a tether, from a card, through a sync folder. Each file is only read.</p>
        ${running.map(({ id, title }) => html`<p><a href=${screenAddress('shoot', { job: String(id) })}>${title} is being watched</a></p>`)}
        <form class="asked" @submit=${start}>
          <label for="shoot-folder">Folder</label>
          <input id="shoot-folder" name="folder" required autocomplete="off" spellcheck="false" .value=${query.get('folder') ?? ''} />
          <p class="quiet hint">The path of the folder into which the camera’s files arrive; or open it in <a href=${screenAddress('places')}>Places</a> and press “Shoot into it”.</p>
          <label for="shoot-step">Step from frame to frame, mm</label>
          <input id="shoot-step" name="step" inputmode="decimal" autocomplete="off" .value=${query.get('step') ?? ''} />
          <label for="shoot-frames">Planned number of frames</label>
          <input id="shoot-frames" name="frames" inputmode="numeric" autocomplete="off" .value=${query.get('frames') ?? ''} />
          <p class="quiet hint">Both as the <a href=${screenAddress('plan')}>plan</a> gives them; without them positions count in steps, and how many frames are to go is estimated from the pictures.</p>
          <p class="row"><button class="main" type="submit">Watch</button></p>
        </form>`,
      element,
    );
  };
  context.onJobs(draw);
  draw();
}

async function start(event: SubmitEvent): Promise<void> {
  event.preventDefault();
  const data = new FormData(event.target as HTMLFormElement);
  const number = (name: string): number | null => {
    const text = String(data.get(name) ?? '')
      .trim()
      .replace(',', '.');
    return text === '' ? null : Number(text);
  };
  const order: ShootOrder = {
    folder: String(data.get('folder')).trim(),
    stepMm: number('step'),
    plannedFrames: number('frames'),
  };
  try {
    const { id } = await send<{ id: number }>('api/shoot', order);
    goTo('shoot', { job: String(id) });
  } catch (error) {
    showFailure(error);
  }
}

function showWatch(element: HTMLElement, context: ScreenContext, id: number): void {
  let view: ShootView | undefined;
  let problem = '';
  const gone = new AbortController();
  context.atEnd(() => gone.abort());
  const draw = (): void => {
    const job = context.jobs().find((one) => one.id === id);
    render(
      view ? content(view, job) : html`<h1>Shoot</h1><p class="quiet">${problem || 'Reading …'}</p>`,
      element,
    );
  };
  const take = (next: ShootView): void => {
    if (next.job !== id) return;
    if (view && next.judged > view.judged && next.last) tones.sound(next.last.isGood);
    view = next;
    draw();
  };
  context.onJobs(draw);
  context.onEvent('shoot', (data) => take(data as ShootView));
  ask<ShootView>('api/shoot', { job: String(id) }, gone.signal).then(
    // Events that came before the answer are later than it.
    (answer) => view ?? take(answer),
    (error: unknown) => {
      if (gone.signal.aborted) return;
      problem = error instanceof Error ? error.message : String(error);
      draw();
    },
  );
  draw();

  function content(shown: ShootView, job: Job | undefined): TemplateResult {
    const { folder, name, last, frames, coverage, coveredPercent, remarks, arriving, notice } = shown;
    const isOver = job === undefined || job.endedAt !== null;
    const newest = frames.find((frame) => frame.name === last?.name);
    return html`<div class="halves">
      <div>
        <figure class="view">
          ${
            last
              ? html`<span class="framed">${picture(thumbnailAddress(folder, last.name, 1280), `Frame ${newest?.number ?? ''}, ${last.name}`)}
                ${newest?.centre ? html`<span class="sharpest" .style=${`left:${100 * newest.centre.x}%;top:${100 * newest.centre.y}%`} title="Sharpest here"></span>` : nothing}</span>`
              : html`<p class="quiet empty">Waiting for the first frame …</p>`
          }
        </figure>
        ${frames.length > 0 ? depthAxis(shown) : nothing}
      </div>
      <div class="side">
        <h1>${name}</h1>
        <p class="count ${last && !last.isGood ? 'bad' : ''}">
          <strong>${frames.length}</strong> ${frames.length === 1 ? 'frame' : 'frames'}
          ${last ? html`<span class="word">${last.isGood ? 'good' : 'look at it'}</span>` : nothing}
        </p>
        <p class="to-go">${coverage}</p>
        <progress class="wide" max="100" .value=${coveredPercent ?? 0} aria-label="Share of the detail seen that is covered"></progress>
        <p role="status">${isOver ? (job?.message ?? 'The watch has ended.') : (last?.text ?? '')}</p>
        <p class="quiet now">${notice ?? (arriving === null ? '' : `${arriving} is arriving …`)} </p>
        ${remarks.length > 0 ? html`<ul class="remarks" aria-label="Findings">${remarks.map(({ rank, text }) => html`<li class=${rank}>${text}</li>`)}</ul>` : nothing}
        <label class="option"><input type="checkbox" .checked=${tones.isOn} @change=${setTones} /> <span>Tones: a high one for a good frame, two low ones for one to look at</span></label>
        <p class="row">
          ${
            isOver
              ? html`<a class="button main" href=${screenAddress('merge', { folder, ...(shown.stepMm === null ? {} : { step: String(shown.stepMm) }) })}>Merge</a>
                <a class="button" href=${screenAddress('check', { folder })}>Check</a>
                <a class="button" href=${screenAddress('shoot', { folder, ...(shown.stepMm === null ? {} : { step: String(shown.stepMm) }) })}>Watch again</a>`
              : html`<button type="button" @click=${() => job && cancelJob(job)}>End the watch</button>`
          }
        </p>
        ${isOver ? nothing : html`<p class="quiet">It goes on when this page is closed.</p>`}
      </div>
    </div>`;
  }
}

function setTones(event: Event): void {
  tones.set((event.target as HTMLInputElement).checked);
}

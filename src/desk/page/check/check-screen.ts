import type { CheckReport } from '../../../check/check-report.js';
import { checkFacts } from '../../../check/check-text.js';
import { frameTable, markedFrames, plots, sensorPlot } from '../../../check/page-parts.js';
import type { FindingFix } from '../../../result/finding.js';
import { verdictBefore } from '../../../result/verdict.js';
import { folderName } from '../../../stack/folder-name.js';
import { unsafeHTML } from '../../lit/directives/unsafe-html.js';
import { html, nothing, render, type TemplateResult } from '../../lit/lit-html.js';
import { optionLabels } from '../../option-labels.js';
import type { CheckChoices, CheckView, MergeForm } from '../../protocol.js';
import { addressOf, ask, send } from '../api.js';
import type { Job } from '../jobs.js';
import { showFailure } from '../notice.js';
import { FolderChooser } from '../parts/folder-chooser.js';
import { jobProgress } from '../parts/job-progress.js';
import { checkLength, lengthOf } from '../parts/merge-fields.js';
import { type ScreenContext, screenAddress } from '../screen.js';
import { choicesOf, choicesQuery, choicesText, withFix } from './choices.js';
import { frameStrip, type StripFrame } from './frame-strip.js';
import { frameView } from './frame-view.js';
import { verdictList } from './verdict-list.js';

export async function mountCheck(element: HTMLElement, context: ScreenContext): Promise<void> {
  const job = context.query.get('job');
  const folder = context.query.get('folder') ?? (job === null ? null : await folderOf(Number(job)));
  if (folder === null) showNoFolder(element, context);
  else new CheckScreen(element, context, folder);
}

async function folderOf(job: number): Promise<string | null> {
  return (await ask<CheckView | null>('api/check', { job: String(job) }))?.folder ?? null;
}

function showNoFolder(element: HTMLElement, context: ScreenContext): void {
  const chooser = new FolderChooser('check', 'stack', context, () => draw());
  const draw = (): void => {
    const checks = context.jobs().filter(({ kind }) => kind === 'check');
    const folders = [...new Map(checks.map((job) => [job.folder, job])).values()];
    render(
      html`<h1>Check</h1>
        <p>
          Before a merge: what would spoil it, in which photographs, and what to do. Choose the stack:
        </p>
        ${
          folders.length === 0
            ? nothing
            : html`<h2>Since Lamella was started</h2><ul class="folders">
                ${folders.map(
                  ({ folder, title, message }) =>
                    html`<li><a href=${screenAddress('check', { folder })}><span class="name">${title}</span> <span class="quiet">${message}</span></a></li>`,
                )}
              </ul>`
        }
        ${chooser.content()}`,
      element,
    );
  };
  context.onJobs(draw);
  draw();
}

const askAgainMs = 300;

/** A check of one folder: its verdicts while it can still be shot again, and what of them goes on to the merge. */
class CheckScreen {
  private readonly gone = new AbortController();
  private jobId: number | undefined;
  private view: CheckView | undefined;
  /** The last report: it stays while the frames are checked again. */
  private report: CheckReport | undefined;
  private choices: CheckChoices;
  private selected: number | undefined;
  /** Why there can be no check. */
  private problem = '';
  private pointedAt: ReadonlySet<number> = new Set();
  /** Pictures by frame, those of frames that were left out since too. */
  private readonly pictures = new Map<number, string>();
  private isAsking = false;

  constructor(
    private readonly element: HTMLElement,
    private readonly context: ScreenContext,
    private readonly folder: string,
  ) {
    this.choices = choicesOf(context.query);
    context.atEnd(() => this.gone.abort());
    context.onJobs(() => void this.follow());
    this.draw();
    this.begin().catch((error: unknown) => {
      if (this.gone.signal.aborted) return;
      this.problem = error instanceof Error ? error.message : String(error);
      this.draw();
    });
  }

  /** Shows the last check where it was made with the same choices; else checks. */
  private async begin(): Promise<void> {
    const { folder } = this;
    const { id } = await ask<{ id: number | null }>('api/check/latest', { folder }, this.gone.signal);
    const known = id === null ? null : await this.viewOf(id);
    const isGiven = Object.keys(this.choices).length > 0;
    if (id !== null && known && (!isGiven || sameChoices(known.choices, this.choices))) {
      this.choices = known.choices;
      this.jobId = id;
      this.take(known);
    } else await this.check();
  }

  private async check(): Promise<void> {
    const { folder, choices } = this;
    this.problem = '';
    const { id } = await send<Job>('api/check', { folder, choices }, this.gone.signal);
    this.jobId = id;
    this.view = undefined;
    this.draw();
  }

  private viewOf(id: number): Promise<CheckView | null> {
    return ask<CheckView | null>('api/check', { job: String(id) }, this.gone.signal);
  }

  /** Whenever the job has changed: its pictures, and at last its report. */
  private async follow(): Promise<void> {
    this.draw();
    const { jobId } = this;
    if (jobId === undefined || this.isAsking || this.view?.report) return;
    this.isAsking = true;
    try {
      const view = await this.viewOf(jobId);
      if (view && jobId === this.jobId) this.take(view);
    } catch (error) {
      showFailure(error);
    } finally {
      this.isAsking = false;
    }
    // It may have ended while the answer was on its way.
    if (this.job()?.state === 'done' && !this.view?.report && !this.gone.signal.aborted)
      setTimeout(() => void this.follow(), askAgainMs);
  }

  private take(view: CheckView): void {
    this.view = view;
    for (const number of view.seen) {
      this.pictures.set(number, addressOf('strip', { job: String(this.jobId), frame: String(number) }));
    }
    const isFirst = view.report !== null && this.report === undefined;
    if (view.report) {
      this.report = view.report;
      this.selected ??= view.report.findings.find(({ frames }) => frames.length > 0)?.frames[0];
      this.selected ??= view.report.frames[view.report.frames.length >> 1]?.number;
    }
    this.draw();
    if (isFirst) this.showSelected();
  }

  private job(): Job | undefined {
    return this.context.jobs().find(({ id }) => id === this.jobId);
  }

  private setChoices(choices: CheckChoices): void {
    this.choices = choices;
    history.replaceState(null, '', screenAddress('check', { folder: this.folder, ...choicesQuery(choices) }));
    this.draw();
  }

  private readonly select = (number: number): void => {
    this.selected = number;
    this.draw();
    this.showSelected();
  };

  private showSelected(): void {
    const strip = this.element.querySelector<HTMLElement>('.frames');
    const frame = this.element.querySelector<HTMLElement>(`#strip-${this.selected}`);
    // The strip alone is scrolled, not the page around it.
    if (strip && frame)
      strip.scrollLeft = frame.offsetLeft - strip.offsetLeft - (strip.clientWidth - frame.offsetWidth) / 2;
  }

  private readonly toggle = (number: number): void => this.fix({ skip: [number] });

  private readonly fix = (fix: FindingFix): void => {
    const next = withFix(this.choices, fix);
    if (next.order === this.choices.order) this.setChoices(next);
    else this.reorder(next).catch(showFailure);
  };

  /** Another order gives other numbers: frames that are left out stay the same photographs, and all is judged anew. */
  private async reorder(next: CheckChoices): Promise<void> {
    const skip = next.skip ?? [];
    const [before, after] = await Promise.all([this.namesBy(this.choices), this.namesBy(next)]);
    const names = new Set(skip.map((number) => before.get(number)));
    const renumbered = [...after].flatMap(([number, name]) => (names.has(name) ? [number] : []));
    this.pictures.clear();
    this.pointedAt = new Set();
    this.selected = undefined;
    this.report = undefined;
    this.setChoices({ ...next, skip: renumbered });
    await this.check();
  }

  /** Names of the photographs by their numbers in an order. */
  private async namesBy({ order }: CheckChoices): Promise<Map<number, string>> {
    const query = { folder: this.folder, order: order ?? '' };
    const { frames } = await ask<MergeForm>('api/merge/form', query, this.gone.signal);
    return new Map(frames.map(({ number, name }) => [number, name]));
  }

  private readonly jump = (frames: readonly number[]): void => {
    this.pointedAt = new Set(frames);
    this.select(frames[0]);
    this.element.querySelector('.frames')?.scrollIntoView({ block: 'nearest' });
  };

  private stripFrames(): StripFrame[] {
    const { report, view, choices } = this;
    const skip = new Set(choices.skip);
    const named = markedFrames(report?.findings ?? []);
    const checked = new Map(report?.frames.map((frame) => [frame.number, frame]));
    const numbers = new Set([
      ...checked.keys(),
      ...(view?.seen ?? []),
      ...skip,
      ...(view?.choices.skip ?? []),
    ]);
    return [...numbers]
      .sort((first, second) => first - second)
      .map((number) => ({
        number,
        picture: this.pictures.get(number),
        checked: checked.get(number),
        isLeftOut: skip.has(number),
        isNamed: named.has(number),
        isPointedAt: this.pointedAt.has(number),
      }));
  }

  private draw(): void {
    if (this.gone.signal.aborted) return;
    const { report } = this;
    const frames = this.stripFrames();
    const chosen = frames.find(({ number }) => number === this.selected);
    render(
      html`<h1>${this.job()?.title ?? folderName(this.folder)}</h1>
        ${this.state()}
        ${frames.length === 0 ? nothing : frameStrip(frames, report?.size, this.selected, { onSelect: this.select, onToggle: this.toggle })}
        ${
          report === undefined
            ? nothing
            : html`<div class="judged">
                  <section aria-label="Verdicts">
                    <h2>Verdicts</h2>
                    ${verdictList(report.findings, this.choices, { onJump: this.jump, onFix: this.fix })}
                  </section>
                  ${chosen === undefined ? nothing : frameView(this.folder, chosen, this.toggle)}
                </div>
                ${this.measured(report)} ${this.onward()}`
        }`,
      this.element,
    );
  }

  /** The verdict on the whole, or how far the check is. */
  private state(): TemplateResult {
    const job = this.job();
    if (job && job.endedAt === null) return html`<div class="state" role="status">${jobProgress(job)}</div>`;
    if (this.problem !== '' || job?.state === 'failed' || job?.state === 'cancelled') {
      return html`<p class="problem" role="alert">${this.problem || job?.message}</p>
        <p class="row">
          <button type="button" @click=${this.again}>Check again</button>
          <a href=${screenAddress('places', { folder: this.folder })}>Back to the folder</a>
        </p>`;
    }
    const { report } = this;
    if (!report) return html`<p class="quiet">Reading the photographs …</p>`;
    return html`<p class="verdict ${report.fit ? 'fit' : 'unfit'}" role="status">${verdictBefore(report.findings)}</p>
      <p class="quiet">${checkFacts(report)}</p>`;
  }

  private readonly again = (): void => {
    this.check().catch(showFailure);
  };

  private measured(report: CheckReport): TemplateResult {
    const marked = markedFrames(report.findings);
    return html`<details class="measured">
        <summary>Plots over the frames</summary>
        <p class="quiet">Frames that a verdict names are shaded.</p>
        <div class="plots">${unsafeHTML(
          plots(report, marked)
            .map(({ text }) => text)
            .join(''),
        )}</div>
      </details>
      ${unsafeHTML(sensorPlot(report, this.pictures).text)}
      <details class="measured">
        <summary>Frame by frame</summary>
        ${unsafeHTML(frameTable(report.frames).text)}
      </details>`;
  }

  /** What goes on to the merge. */
  private onward(): TemplateResult {
    const { folder, choices, view } = this;
    const text = choicesText(choices);
    const isChanged = view !== undefined && !sameChoices(view.choices, choices);
    return html`<div class="onward">
      <p role="status">${text ? html`Merged ${text}.` : 'Merged as they are.'}</p>
      <label>
        ${optionLabels.stepMm}
        <input
          inputmode="decimal"
          autocomplete="off"
          placeholder="not known"
          .value=${choices.stepMm ?? ''}
          @change=${this.setStep}
        />
        mm
      </label>
      <button type="button" ?disabled=${!isChanged} @click=${this.again}>Check again</button>
      <a class="button main" href=${screenAddress('merge', { folder, ...choicesQuery(choices) })}>Merge</a>
    </div>`;
  }

  private readonly setStep = (event: Event): void => {
    checkLength(event);
    const field = event.target as HTMLInputElement;
    if (!field.reportValidity()) return;
    const step = lengthOf(field.value);
    const { stepMm: _, ...others } = this.choices;
    this.setChoices(step === null ? others : { ...others, stepMm: step });
  };
}

function sameChoices(one: CheckChoices, other: CheckChoices): boolean {
  return JSON.stringify(choicesQuery(one)) === JSON.stringify(choicesQuery(other));
}

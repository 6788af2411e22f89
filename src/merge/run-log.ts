import { InterruptedError } from '../errors.js';
import type { Finding } from '../result/finding.js';
import type { GrowingPicture, UnattendedHooks } from './merge-api.js';
import type { MergeEvent, MergeStage } from './merge-event.js';

/** Rough share of a run's time that each stage takes, for the estimate of the time left. */
const stageShare: Record<MergeStage, number> = {
  list: 0.01,
  register: 0.22,
  focus: 0.28,
  surface: 0.08,
  blend: 0.36,
  write: 0.05,
};
const stages = Object.keys(stageShare) as MergeStage[];

/** A growing picture is shown at most this often, ms, and takes at most this share of the time. */
const pictureMs = 300;
const pictureShare = 1 / 20;

/** Tells a caller how a run gets on, keeps what was said for run.json, and stops the run when asked to. */
export class RunLog {
  readonly startedAt = new Date();
  readonly warnings: string[] = [];
  readonly notes: string[] = [];
  readonly stagesMs: Record<string, number> = {};
  private readonly started = performance.now();
  private stage: MergeStage = 'list';
  private stageStarted = this.started;
  private pictureDueMs = 0;

  constructor(
    private readonly hooks: UnattendedHooks,
    /** Megapixels of one frame; set once it is known. */
    public frameMegapixels = 0,
  ) {}

  get isUnattended(): boolean {
    return this.hooks.isUnattended ?? false;
  }

  get wallMs(): number {
    return performance.now() - this.started;
  }

  emit(event: MergeEvent): void {
    this.hooks.onEvent?.(event);
  }

  enter(stage: MergeStage): void {
    this.throwIfStopped();
    this.closeStage();
    this.stage = stage;
    this.stageStarted = performance.now();
    this.emit({ event: 'stage', stage });
  }

  /** Ends the stage in work, so that its time is in `stagesMs`. */
  closeStage(): void {
    const now = performance.now();
    this.stagesMs[this.stage] = (this.stagesMs[this.stage] ?? 0) + Math.round(now - this.stageStarted);
    this.stageStarted = now;
  }

  progress(done: number, frames: number): void {
    this.throwIfStopped();
    const stageMs = performance.now() - this.stageStarted;
    const before = stages
      .slice(0, stages.indexOf(this.stage))
      .reduce((sum, name) => sum + stageShare[name], 0);
    const share = before + (stageShare[this.stage] * done) / frames;
    this.emit({
      event: 'progress',
      stage: this.stage,
      done,
      frames,
      megapixelsPerS: stageMs > 0 ? (done * this.frameMegapixels * 1000) / stageMs : 0,
      leftS: share > 0.05 ? (this.wallMs / 1000) * (1 / share - 1) : undefined,
    });
  }

  /** Shows the caller the picture as it grows, where it is wanted and the last time was long enough ago. */
  async showPicture(make: () => Promise<GrowingPicture | undefined>): Promise<void> {
    const begunMs = performance.now();
    if (!this.hooks.onPicture || begunMs < this.pictureDueMs) return;
    const picture = await make();
    if (picture) this.hooks.onPicture(picture);
    const now = performance.now();
    this.pictureDueMs = now + Math.max(pictureMs, (now - begunMs) / pictureShare);
  }

  warn(message: string): void {
    this.warnings.push(message);
    this.emit({ event: 'warning', message });
  }

  /** Notes what is not noted yet: a merge that starts over comes by it again. */
  note(message: string): void {
    if (this.notes.includes(message)) return;
    this.notes.push(message);
    this.emit({ event: 'note', message });
  }

  /** Passes a finding on; what a warning has said in the same words is not said twice. */
  find(finding: Finding): void {
    if (this.warnings.includes(finding.message)) return;
    this.emit({ event: 'finding', finding });
  }

  throwIfStopped(): void {
    if (this.hooks.signal?.aborted) throw new InterruptedError();
  }
}

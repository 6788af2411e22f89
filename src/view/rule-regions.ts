import { availableParallelism } from 'node:os';
import { InputError, InterruptedError } from '../errors.js';
import type { Size } from '../image/image.js';
import { type MergedRegion, RegionStack } from '../mend/merge-region.js';
import type { RowSource } from '../mend/raster.js';
import type { SourceRule } from '../options/source-rule.js';
import type { RunRecord } from '../result/run-record.js';
import type { AlignedRegion } from '../trace/aligned-region.js';
import type { PictureRegion } from '../trace/picture-region.js';
import type { StackFrame } from '../trace/stack-frames.js';
import type { CheckedFrames } from './checked-frames.js';
import { Gate, shareWork } from './gate.js';

/** Parts beyond this are for `lamella mend`, not for a glance. */
export const maxMergedPixels = 16e6;
/** Bytes of merged parts that are kept. */
const maxKeptBytes = 300e6;
/** Three planes and depth as floats, and the source. */
const bytesAPixel = 18;

/** Parts of the picture as other rules merge them, made when asked for, one after the other, and kept. */
export class RuleRegions {
  /** By part and rule, in the order of last use. */
  private readonly merged = new Map<string, Promise<MergedRegion>>();
  /** The frames over the latest part: each rule that is asked for there needs them. */
  private stack: { key: string; stack: RegionStack } | undefined;
  private readonly gate = new Gate(1);
  private isClosed = false;

  constructor(
    private readonly record: RunRecord,
    private readonly frames: readonly StackFrame[],
    private readonly checked: CheckedFrames,
    private readonly icc: Buffer | undefined,
  ) {}

  /**
   * @param signal Aborted when nobody waits for it any more: rejects with InterruptedError.
   * @throws InputError when the part is too large, a photograph is not there any more, or nothing is sharp there.
   */
  merge(rule: SourceRule, window: PictureRegion, signal?: AbortSignal): Promise<MergedRegion> {
    if (window.width * window.height > maxMergedPixels) {
      throw new InputError(
        `The region is too large to be merged while you work: ${window.width} x ${window.height} pixels. Draw a smaller one.`,
      );
    }
    return shareWork(() => this.find(rule, window, signal), signal);
  }

  private find(rule: SourceRule, window: PictureRegion, signal?: AbortSignal): Promise<MergedRegion> {
    const key = `${keyOf(window)} ${rule}`;
    const known = this.merged.get(key);
    const found = known ?? this.gate.pass(() => this.mergeNow(rule, window, signal), signal);
    this.merged.delete(key);
    this.merged.set(key, found);
    if (!known) {
      found.then(
        () => this.dropOld(),
        () => this.merged.delete(key),
      );
    }
    return found;
  }

  private async mergeNow(
    rule: SourceRule,
    window: PictureRegion,
    signal: AbortSignal | undefined,
  ): Promise<MergedRegion> {
    if (this.isClosed) throw new InterruptedError();
    const key = keyOf(window);
    // The page and its pictures come first.
    const options = { icc: this.icc, threads: Math.max(2, availableParallelism() >> 1), signal };
    if (this.stack?.key !== key) {
      await this.dropStack();
      const pathOf = (frame: StackFrame) => this.checked.path(frame);
      this.stack = {
        key,
        stack: await RegionStack.open(this.record, this.frames, pathOf, window, options),
      };
    }
    return this.stack.stack.merge(rule, options);
  }

  private async dropStack(): Promise<void> {
    const { stack } = this;
    this.stack = undefined;
    await stack?.stack.close();
  }

  private dropOld(): void {
    let bytes = 0;
    for (const key of [...this.merged.keys()].reverse()) {
      const [, , width, height] = key.split(/[ ,]/).map(Number);
      bytes += width * height * bytesAPixel;
      if (bytes > maxKeptBytes) this.merged.delete(key);
    }
  }

  /** Waits for the work that is under way, and frees the disk. */
  async close(): Promise<void> {
    this.isClosed = true;
    await this.gate.pass(() => this.dropStack());
  }
}

function keyOf({ x, y, width, height }: PictureRegion): string {
  return `${x},${y},${width},${height}`;
}

/** Planes of 0 to 255 as a picture of 8 bits. */
export function planeSource(planes: AlignedRegion['planes'], { width, height }: Size): RowSource {
  return {
    width,
    height,
    channels: 3,
    bits: 8,
    readRow(y, x, count, into) {
      for (let i = 0; i < count; i++) {
        for (let channel = 0; channel < 3; channel++) {
          into[i * 3 + channel] = Math.max(0, Math.min(255, planes[channel][y * width + x + i] + 0.5));
        }
      }
    },
  };
}

import { createHash } from 'node:crypto';
import { setImmediate as nextTurn } from 'node:timers/promises';
import { InputError, InterruptedError } from '../errors.js';
import type { Size } from '../image/image.js';
import { alignedPart, blendMend, type CompositePart, mendWindow } from '../mend/blend-mend.js';
import { mendFault } from '../mend/check-mends.js';
import type { Mend } from '../mend/mends-file.js';
import { cutMerged, mergeWindow } from '../mend/merge-region.js';
import { type RowSource, readRegion, type Samples } from '../mend/raster.js';
import type { RunRecord } from '../result/run-record.js';
import type { AlignedRegion } from '../trace/aligned-region.js';
import type { PictureRegion } from '../trace/picture-region.js';
import type { StackFrame } from '../trace/stack-frames.js';
import type { FrameRasters } from './frame-rasters.js';
import type { RuleRegions } from './rule-regions.js';

/** A mend blended, on top of those before it in its chain. */
type Patch = CompositePart;

/** Windows beyond this are for `lamella mend`, not for a glance. */
const maxWindowPixels = 64e6;
/** Bytes of patches that are kept for undo and redo, beside those in use. */
const maxKeptBytes = 160e6;
/** Bytes of patches that lie over each other in one preview: more would not fit beside the picture. */
const maxChainBytes = 1e9;

/** Mends as they would look, computed from the unmended composite as asked for; nothing is written. */
export class MendPreview {
  /** By key of the chain that ends with the patch, in the order of last use. */
  private readonly patches = new Map<string, Patch>();
  private turn: Promise<unknown> = Promise.resolve();

  constructor(
    private readonly composite: RowSource,
    private readonly record: RunRecord,
    private readonly frames: readonly StackFrame[],
    private readonly rasters: FrameRasters,
    private readonly rules: RuleRegions,
  ) {}

  /**
   * Blends the kept ones of `mends`, in order. What an earlier call blended in the same order is taken from there.
   *
   * @param signal Aborted when nobody waits for the outcome any more.
   * @returns A key under which `source` finds the outcome.
   * @throws InputError when a mend cannot be applied; InterruptedError when it was given up.
   */
  blend(mends: readonly Mend[], signal?: AbortSignal): Promise<string> {
    // One at a time: a chain builds on patches that another may be about to make.
    const outcome = this.turn.then(() => this.blendInTurn(mends, signal));
    this.turn = outcome.catch(() => undefined);
    return outcome;
  }

  private async blendInTurn(mends: readonly Mend[], signal?: AbortSignal): Promise<string> {
    const giveUp = (): void => {
      if (signal?.aborted) throw new InterruptedError('Nobody waits for this preview any more.');
    };
    giveUp();
    const kept = mends.filter((mend) => mend.kept);
    for (const mend of kept) {
      await nextTurn();
      giveUp();
      const fault = mendFault(mend, this.record, this.frames);
      if (fault !== undefined) throw new InputError(fault);
    }
    let key = '0';
    const below: Patch[] = [];
    let bytes = 0;
    try {
      for (const mend of kept) {
        key = chainKey(key, mend);
        const known = this.patches.get(key);
        const patch = known ?? (await this.blendOne(mend, below, signal));
        this.patches.delete(key);
        this.patches.set(key, patch);
        below.push(patch);
        bytes += patch.pixels.byteLength;
        if (bytes > maxChainBytes) {
          throw new InputError(
            'These mends are too many and too large to be shown while you work. Take some back, or draw smaller ones.',
          );
        }
        // The wish to give up arrives between two mends.
        await nextTurn();
        giveUp();
      }
      this.chains.set(key, below);
      this.shown = new Set(below);
      return key;
    } finally {
      this.dropOld(this.shown);
    }
  }

  /** Patches of the latest outcome. */
  private shown: ReadonlySet<Patch> = new Set();

  /** Patches of a chain, bottom to top, by the key of its end. */
  private readonly chains = new Map<string, Patch[]>([['0', []]]);

  /** The composite with the mends of a key; undefined when the key is unknown or forgotten. */
  source(key: string): RowSource | undefined {
    const patches = this.chains.get(key);
    return patches && patchedSource(this.composite, patches);
  }

  private async blendOne(mend: Mend, below: readonly Patch[], signal?: AbortSignal): Promise<Patch> {
    const window = mendWindow(mend, this.record.size)!;
    requirePreviewSize(mend.region, mend.featherPx, this.record.size);
    const supply = await this.supplyOf(mend, window, signal);
    const part = readPart(patchedSource(this.composite, below), window);
    blendMend(part, supply, mend);
    return part;
  }

  /** What a mend takes its region from, over the window of its blend. */
  private async supplyOf(mend: Mend, window: PictureRegion, signal?: AbortSignal): Promise<AlignedRegion> {
    const { rule } = mend;
    if (rule === undefined) {
      const frame = this.frames.find(({ number }) => number === mend.frame)!;
      return (await this.rasters.align(frame, window))!;
    }
    if (rule === this.record.options.rule) return alignedPart(readPart(this.composite, window));
    const merged = await this.rules.merge(rule, mergeWindow(mend, this.record.size)!, signal);
    return cutMerged(merged, window);
  }

  private dropOld(inUse: ReadonlySet<Patch>): void {
    let bytes = 0;
    for (const [key, patch] of [...this.patches].reverse()) {
      bytes += patch.pixels.byteLength;
      if (bytes <= maxKeptBytes || inUse.has(patch)) continue;
      this.patches.delete(key);
      for (const [end, patches] of this.chains) if (patches.includes(patch)) this.chains.delete(end);
    }
  }
}

/** Throws InputError for a region that is too large to be blended while somebody looks on. */
export function requirePreviewSize(region: Mend['region'], featherPx: number, size: Size): void {
  const window = mendWindow({ region, featherPx }, size);
  if (!window || window.width * window.height <= maxWindowPixels) return;
  throw new InputError(
    `The region is too large to be shown while you work: ${window.width} x ${window.height} pixels. Draw a smaller one.`,
  );
}

function readPart(source: RowSource, window: PictureRegion): CompositePart {
  const pixels = readRegion(source, window) as CompositePart['pixels'];
  return { ...window, channels: source.channels as 1 | 3, pixels };
}

function chainKey(before: string, mend: Mend): string {
  const { frame, rule, region, featherPx } = mend;
  const text = `${before} ${JSON.stringify([frame, rule, region, featherPx])}`;
  return createHash('sha256').update(text).digest('hex').slice(0, 16);
}

/** Rows of a picture with patches laid over it. */
function patchedSource(base: RowSource, patches: readonly Patch[]): RowSource {
  if (patches.length === 0) return base;
  const { width, height, channels, bits } = base;
  return {
    width,
    height,
    channels,
    bits,
    readRow(y, x, count, into: Samples) {
      base.readRow(y, x, count, into);
      for (const patch of patches) {
        if (y < patch.y || y >= patch.y + patch.height) continue;
        const from = Math.max(x, patch.x);
        const to = Math.min(x + count, patch.x + patch.width);
        if (to <= from) continue;
        const start = ((y - patch.y) * patch.width + from - patch.x) * channels;
        into.set(patch.pixels.subarray(start, start + (to - from) * channels), (from - x) * channels);
      }
    },
  };
}

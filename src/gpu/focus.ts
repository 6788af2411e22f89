import {
  type CurveGrid,
  type CurveLevel,
  discAtLevel,
  type FocusCurves,
  gridStep,
  type MaskedDisc,
  noiseBins,
  noiseCodesOf,
  noiseGrid,
  statePlanes,
  unmeasuredEdge,
} from '../focus/focus-curves.js';
import type { Size } from '../image/image.js';
import { levelSizes } from '../image/level-sizes.js';
import { affineArguments } from '../image/placed-frame.js';
import type { TransferCurve } from '../image/transfer-curve.js';
import type { Matrix3 } from '../image/transform.js';
import { minNoiseSamples, prominenceCodes } from '../model/constants/focus.js';
import { seenLevels } from '../model/constants/surface.js';
import { innerBend } from '../surface/curve-bend.js';
import { measureBlur } from '../surface/measure-blur.js';
import { sideDistance } from '../surface/see-through.js';
import type { Gpu } from './device.js';
import { finerRows, type GpuPlanes, placedRows, sameRows, wordsOf } from './planes.js';
import { readSiteVotes } from './site-votes.js';

/** Codes that a measure can have, of each bin of brightness. */
const codeCount = 32768;
/** What stands for a bin that a frame does not fill. */
const unfilled = 0xffffffff;

/** A frame on the device. */
export interface GpuFrame {
  ordinal: number;
  toFrame: Matrix3;
  gainRatio: readonly [number, number, number];
  pixels: GpuPlanes;
  bits: 8 | 16;
}

/**
 * Follows the focus curve of every pixel on a device: the twin of `FocusTracker`, and of `SpillFinder.note`. All of its
 * state stays there; what the main thread asks is read by `curves`.
 */
export class GpuFocus {
  /** Of each level that is followed, finest first: see `trackStrip` in kernels/assembly/focus.ts. */
  readonly state: GpuPlanes[];
  /** Where level 0 is not one of them: its own state, of which the sharpest frames are asked. */
  readonly picks: GpuPlanes | undefined;
  /** Of level 1: light of what is sharpest, square roots, a byte a channel; for `auto`. */
  readonly lights: GpuPlanes | undefined;
  /** Of the frame at hand, by level of its pyramid. */
  private readonly measures: GpuPlanes[];
  private readonly luma: GpuPlanes[];
  private readonly noTones: GpuPlanes;
  private readonly discs: GPUBuffer[];
  private readonly counts: GPUBuffer;
  /** Tenth percentiles: [frame][level][brightness bin]. */
  private readonly low: GPUBuffer;

  /**
   * @param frames Number of frames.
   * @param curve From samples to light; undefined: no light is noted.
   */
  constructor(
    private readonly gpu: Gpu,
    size: Size,
    frame: Size,
    levels: number,
    private readonly frames: number,
    private readonly dust: readonly MaskedDisc[],
    private readonly curve: TransferCurve | undefined,
    private readonly finest: CurveLevel = 0,
  ) {
    const out = levelSizes(size).slice(finest, levels);
    const own = levelSizes(frame).slice(0, finest + out.length);
    this.picks = finest > 0 ? gpu.takePlanes(size.width, size.height, statePlanes(0), 2) : undefined;
    this.state = out.map(({ width, height }, level) => gpu.takePlanes(width, height, statePlanes(level), 2));
    this.measures = own.map(({ width, height }, level) =>
      gpu.takePlanes(width, height, level === 0 || level === finest ? 2 : 1, 2),
    );
    this.luma = own.map(({ width, height }) => gpu.takePlanes(width, height, 1, 4));
    this.noTones = gpu.takePlanes(1, 1, 1, 2);
    this.discs = own.map((_, level) => {
      const discs = dust.flatMap((disc) => {
        const { x, y, radius } = discAtLevel(disc, level);
        return [x, y, radius, 0];
      });
      return gpu.takeTable(Float32Array.from(discs.length > 0 ? discs : [0, 0, 0, 0]));
    });
    this.counts = gpu.takeTable(noiseBins * codeCount * 4);
    this.low = gpu.takeTable(frames * out.length * noiseBins * 4);
    this.lights = curve && out.length > 1 ? gpu.takePlanes(out[1].width, out[1].height, 1, 4) : undefined;
  }

  /** Notes all work on a frame; frames come in order of their ordinals. */
  add(frame: GpuFrame): void {
    const { gpu, measures, luma, state, finest } = this;
    const [full] = measures;
    gpu.run(
      'luma',
      { bits: frame.bits },
      { frame: frame.pixels, luma: luma[0], measures: full },
      { width: wordsOf(full.width), height: full.height },
    );
    for (const [level, codes] of measures.entries()) {
      gpu.run(
        'measure',
        { discCount: this.dust.length },
        { luma: { set: luma[level], rows: sameRows(3) }, measures: codes, discs: this.discs[level] },
        { width: wordsOf(codes.width), height: codes.height },
      );
      if (level > 0 && level === finest) {
        const words = { width: wordsOf(codes.width), height: codes.height };
        gpu.run('lumaCodes', {}, { luma: luma[level], measures: codes }, words);
      }
      const coarse = luma[level + 1];
      if (coarse) {
        const fine = { set: luma[level], rows: finerRows(2) };
        gpu.run('reduce', {}, { fine, coarse }, coarse);
      }
    }
    if (this.picks) this.track(frame, 0, full, full, 0, this.picks);
    for (const level of state.keys()) {
      this.noteNoise(frame.ordinal, level);
      this.track(frame, level, measures[level + finest], measures[finest], finest, state[level]);
    }
    if (this.lights) this.noteLight(frame, this.lights);
  }

  /**
   * Follows the curves of a level, counted from `finest`.
   *
   * @param luma Measures of the finest level, whose luma is kept of peaks.
   */
  private track(
    frame: GpuFrame,
    level: number,
    codes: GpuPlanes,
    luma: GpuPlanes,
    finest: CurveLevel,
    state: GpuPlanes,
  ): void {
    const { gpu } = this;
    const toFrame = affineArguments(frame.toFrame, level + finest);
    const toFullFrame = affineArguments(frame.toFrame, finest);
    const { width, height } = state;
    const scale = 2 ** level;
    const hasTones = level === 1 || level === 2;
    gpu.run(
      'track',
      {
        toFrame,
        toFullFrame,
        level,
        margin: unmeasuredEdge,
        ordinal: frame.ordinal,
        prominence: prominenceCodes,
      },
      {
        codes: { set: codes, rows: placedRows(toFrame, width, 2) },
        luma: { set: luma, rows: placedRows(toFullFrame, width, 2, scale) },
        state,
        full: hasTones
          ? { set: this.state[0], rows: (from, to) => [from * scale, to * scale] }
          : { set: this.noTones, rows: sameRows() },
      },
      { width: wordsOf(width), height },
    );
  }

  /** What the main thread asks of the curves. Throws GpuError. */
  async curves(): Promise<FocusCurves> {
    const { gpu, state, frames, finest } = this;
    const levels = state.length;
    const [low, ...grids] = await Promise.all([this.lowCodes(), ...state.map((set) => this.sample(set))]);
    const noise = low.map((codes, level) => noiseCodesOf(codes, level + finest));
    const curves = {
      levels,
      finest,
      state,
      grid: (level: number) => grids[level],
      noiseCodes: (level: number) => noise[level],
    };
    const asked = { ...curves, bends: grids.map((_, level) => innerBend(curves, level, frames)) };
    // Asked now, for later the surface has taken the place of the curves.
    const blurPx = measureBlur(asked, frames);
    const votes = await Promise.all(
      state
        .slice(0, blurPx === undefined ? 0 : seenLevels)
        .map((_, level) =>
          readSiteVotes(gpu, state, level, noise[level], frames, sideDistance(level + finest, blurPx!)),
        ),
    );
    return { ...asked, siteVotes: (level) => votes[level] };
  }

  /** A grid of the curves of a level. */
  private async sample(set: GpuPlanes): Promise<CurveGrid> {
    const { gpu } = this;
    const every = gridStep(set);
    const [width, height] = [set.width, set.height].map((side) => Math.ceil(side / every));
    const grid = gpu.takePlanes(width, height, 2, 4);
    const rows = (from: number, to: number): [number, number] => [from * every, (to - 1) * every + 1];
    gpu.run('sampleCurves', { every }, { state: { set, rows }, grid }, { width, height });
    const read = async (plane: number) => {
      const halves = new Uint16Array(2 * width * height);
      await gpu.readPlane(grid, plane, new Uint8Array(halves.buffer), width * 4);
      const [low, high] = [new Uint16Array(width * height), new Uint16Array(width * height)];
      for (let i = 0; i < low.length; i++) {
        low[i] = halves[2 * i];
        high[i] = halves[2 * i + 1];
      }
      return [low, high];
    };
    const [[best, before], [after, bestOrdinal]] = [await read(0), await read(1)];
    gpu.release(grid);
    return { best, before, after, bestOrdinal };
  }

  /** Tenth percentiles of the measures, where frames fill a bin: [level][brightness bin][frame]. Throws GpuError. */
  async lowCodes(): Promise<number[][][]> {
    const levels = this.state.length;
    const all = new Uint32Array(this.frames * levels * noiseBins);
    await this.gpu.readTable(this.low, new Uint8Array(all.buffer));
    return Array.from({ length: levels }, (_, level) =>
      Array.from({ length: noiseBins }, (_, bin) =>
        Array.from({ length: this.frames }, (_, k) => all[(k * levels + level) * noiseBins + bin]).filter(
          (code) => code !== unfilled,
        ),
      ),
    );
  }

  /** Gives back what only served to follow the curves. */
  releaseWork(): void {
    this.gpu.release(...this.measures, ...this.luma, this.noTones, ...this.discs, this.counts, this.low);
  }

  /** Gives back the state and the light, once they have served. */
  release(): void {
    this.gpu.release(...this.state, ...[this.picks, this.lights].filter((set) => set !== undefined));
  }

  private noteNoise(ordinal: number, level: number): void {
    const { gpu, measures, counts, low, finest } = this;
    const codes = measures[level + finest];
    const { edge, every } = noiseGrid(codes, level);
    const along = (side: number) => Math.max(0, Math.ceil((side - 2 * edge) / every));
    const rowsOf =
      (scale: number) =>
      (from: number, to: number): [number, number] => [
        (edge + every * from) * scale,
        (edge + every * (to - 1)) * scale + 1,
      ];
    const over = { width: along(codes.width), height: along(codes.height) };
    if (over.width > 0 && over.height > 0) {
      gpu.run(
        'countNoise',
        { level, edge, every },
        {
          codes: { set: codes, rows: rowsOf(1) },
          luma: { set: measures[finest], rows: rowsOf(2 ** level) },
          counts,
        },
        over,
      );
    }
    gpu.run(
      'lowNoise',
      { least: minNoiseSamples, place: ((ordinal - 1) * this.state.length + level) * noiseBins },
      { counts, low },
      { width: 16 * noiseBins, height: 16 },
    );
  }

  private noteLight(frame: GpuFrame, lights: GpuPlanes): void {
    const toFrame = affineArguments(frame.toFrame, 0);
    const { width, height } = lights;
    this.gpu.run(
      'noteLight',
      {
        toFrame,
        gain: [...frame.gainRatio, 1],
        curve: [...this.curve!, 0],
        bits: frame.bits,
        ordinal: frame.ordinal,
      },
      {
        frame: { set: frame.pixels, rows: placedRows(toFrame, width, 2, 2) },
        state: this.state[1],
        lights,
      },
      { width, height },
    );
  }
}

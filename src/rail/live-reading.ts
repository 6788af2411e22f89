import type { Size } from '../image/image.js';
import { median } from '../image/median.js';
import { minSample } from '../model/constants/model.js';
import {
  aheadFrames,
  broadSpacingPx,
  differencePx,
  maxCurveSteps,
  unsettledEnd,
  windowFrames,
} from '../model/constants/rail.js';
import {
  type CentredMotion,
  composeMotions,
  invertMotion,
  noMotion,
  similarityToMotion,
  transformOf,
} from '../register/centred-motion.js';
import { createMotionEstimator } from '../register/motion-estimator.js';
import type { FrameMotion, MotionSolution } from '../register/motion-solution.js';
import { measureGrowth } from '../register/rail.js';
import type { DecodedFrame, Shrink } from '../stack/decode.js';
import type { FrameFile } from '../stack/frame.js';
import type { DetailGrid } from './detail-grid.js';
import { findDust, planeShrink, withoutHotPixels } from './find-dust.js';
import { focusAhead } from './focus-ahead.js';
import { focusCurves, peakFrame } from './focus-curves.js';
import { type FocusFit, fitFocus, samplesPerSide, type TileFocus, wellFitted } from './focus-fit.js';
import { type FoundDust, knownDust, noteDust } from './found-dust.js';
import type { FrameFacts } from './frame-measurements.js';
import { positionsOf } from './frame-positions.js';
import type { TileLayout } from './full-size-reading.js';
import { motionPicture, readFrame, reducedSize } from './read-frame.js';
import type { SensorSpot } from './sensor-spot.js';
import { type JudgedEvidence, shrinkFor } from './stack-reading.js';
import { lumaGain, type StackTravel, stackTravel } from './stack-travel.js';
import { followTiles } from './tile-curves.js';
import { matchLight } from './tile-noise.js';

/** The oldest frames of a window keep what earlier windows found, which saw the frames before them. */
const settledFrames = maxCurveSteps;

/** What windows ask of a frame. */
interface FrameDetail {
  grid: DetailGrid;
  broadGrid: DetailGrid;
  plane: Float32Array | undefined;
}

/** One frame of a stack that is still being shot. */
interface LiveFrame {
  facts: FrameFacts;
  /** Undefined outside the window. */
  detail: FrameDetail | undefined;
  /** Stands for the frame in the window's motion; never used again. */
  id: number;
  file: FrameFile;
  /** Frame to the first frame. */
  motion: FrameMotion;
  isBlurred: boolean;
  /** Travel from the frame before, usual steps, NaN where unknown, and what it was measured on; see `RailTravel`. */
  step: number;
  tileShare: number;
}

/** Where a tile is in focus, from a frame on. */
interface LiveTile extends Omit<TileFocus, 'best' | 'position'> {
  frame: LiveFrame;
  /** Position relative to that of the frame, usual steps. */
  offset: number;
}

/** Broad detail that is not in focus yet. */
export interface DetailAhead {
  /** From the last frame to where tiles will be in focus that are still getting sharper, usual steps. */
  distances: number[];
  /** All tiles. */
  tiles: number;
}

/**
 * The evidence of a stack that grows frame by frame. A window of the newest frames is measured by the functions that
 * measure a whole stack, so that each frame costs the same however many came before; of older frames a few numbers are
 * kept. Frames may be taken out, and put in anywhere.
 */
export class LiveReading {
  /** Reduction of the pictures to be added, see `decodeFrame`. */
  readonly shrink: Shrink;
  /** Half width of the focus curves of full-size detail, usual steps, where it has been measured. */
  fullSizeWidth: number | undefined;
  hotPixels: SensorSpot[] = [];
  private dust: FoundDust[] = [];
  private readonly frames: LiveFrame[] = [];
  private estimator;
  /** The window: [start, end) of `frames`. */
  private start = 0;
  private end = 0;
  private tiles: (LiveTile | undefined)[] = [];
  private layout: TileLayout | undefined;
  private nextId = 1;
  /** Whether the window, or what lies in it, is another than that which was measured last but for its newest frames. */
  private isAnew = true;
  /** Whether frames were taken into the window since it was measured. */
  private hasNew = false;
  private readonly planeFactor: number;
  private readonly reduced: Size;

  constructor(private readonly size: Size) {
    this.shrink = shrinkFor(size);
    this.reduced = reducedSize(size, this.shrink);
    this.planeFactor = planeShrink(this.reduced);
    this.estimator = createMotionEstimator({ motion: 'scale', fullSize: size });
  }

  get count(): number {
    return this.frames.length;
  }

  get files(): FrameFile[] {
    return this.frames.map(({ file }) => file);
  }

  /** Index behind the last frame of the window: where `insert` inserts. */
  get windowEnd(): number {
    return this.end;
  }

  /** Names and numbers of the frames as they are now. */
  rename(files: readonly FrameFile[]): void {
    this.frames.forEach((frame, k) => {
      frame.file = files[k];
      frame.facts.number = files[k].number;
      frame.motion.number = files[k].number;
    });
  }

  /** A text that is the same for frames of identical pixels only. */
  fingerprint(k: number): string {
    return this.frames[k].facts.fingerprint;
  }

  fingerprintOf(decoded: DecodedFrame): string {
    return readFrame(0, decoded, {}).measurements.fingerprint;
  }

  /** Takes a new frame at the end of the window. */
  insert(file: FrameFile, decoded: DecodedFrame): void {
    const id = this.nextId++;
    this.frames.splice(this.end, 0, {
      id,
      file,
      ...this.take(id, file.number, decoded),
      motion: firstMotion(file.number, this.size, decoded.channels),
      isBlurred: false,
      step: Number.NaN,
      tileShare: 0,
    });
    this.end++;
  }

  /** Takes the frame behind the window into it once more. */
  extend(decoded: DecodedFrame): void {
    const frame = this.frames[this.end++];
    Object.assign(frame, this.take(frame.id, frame.file.number, decoded));
  }

  /** Begins a new window before frame `from`, which is empty yet. */
  openWindow(from: number): void {
    this.isAnew = true;
    // What came since the last measurement would never be measured.
    if (this.hasNew) this.update();
    for (let k = this.start; k < this.end; k++) this.frames[k].detail = undefined;
    this.estimator = createMotionEstimator({ motion: 'scale', fullSize: this.size });
    this.start = from;
    this.end = from;
  }

  /** Shortens the window so that it ends before frame `to`. */
  retract(to: number): void {
    while (this.end > to) {
      this.end--;
      this.estimator.remove(this.end - this.start);
      this.frames[this.end].detail = undefined;
    }
  }

  /** Takes a frame out of the stack. */
  remove(index: number): void {
    this.isAnew = true;
    const [gone] = this.frames.splice(index, 1);
    if (index >= this.start && index < this.end) {
      this.estimator.remove(index - this.start);
      this.end--;
    } else if (index < this.start) {
      this.start--;
      this.end--;
    }
    const next = this.frames[index];
    const before = this.frames[index - 1];
    const own = lengthOf(gone.step);
    if (next && before) next.step = lengthOf(next.step) + own;
    // What was sharpest there is as far from the frames beside it as before.
    const heir = before ?? next;
    const away = before ? own : next ? -lengthOf(next.step) : 0;
    for (const tile of this.tiles) {
      if (tile?.frame !== gone || !heir) continue;
      tile.frame = heir;
      tile.offset += away;
    }
    if (!heir) this.tiles = [];
  }

  /** Measures the window anew where frames were added or taken out. */
  update(): void {
    if (!this.hasNew && !this.isAnew) return;
    this.hasNew = false;
    if (this.end - this.start < 2) return;
    const window = this.frames.slice(this.start, this.end);
    this.alignWindow(window);
    const travelled = stackTravel(
      window.map(({ detail }) => detail!.grid),
      window.map(({ motion }) => motion),
      this.size,
      this.shrink,
    );
    this.takeTravel(window, travelled);
    this.takeTiles(window, travelled);
    this.isAnew = false;
    const { columns, tilePx, light } = travelled.tiles;
    this.layout = { columns, tilePx, light };
    while (this.end - this.start > windowFrames) {
      this.frames[this.start].detail = undefined;
      this.estimator.remove(0);
      this.start++;
    }
    this.searchDust();
  }

  /** All that is known by now. There must be two frames. */
  evidence(): JudgedEvidence {
    const { frames } = this;
    const moved = frames.slice(1);
    const fit = this.focusFit();
    const blurred = frames.flatMap(({ isBlurred }, k) => (isBlurred ? [k] : []));
    return {
      files: this.files,
      measurements: frames.map(({ facts }) => facts),
      motion: this.motion(),
      stackTravel: {
        tiles: { columns: this.layout?.columns ?? 1 },
        blurred: new Set(blurred),
        travel: {
          steps: moved.map(({ step }) => step),
          positions: this.positions(),
          tileShare: moved.map(({ tileShare }) => tileShare),
        },
      },
      fit,
      fineWidth: Math.min(fit.width, this.fullSizeWidth ?? fit.width),
      dust: withoutHotPixels(knownDust(this.dust), this.hotPixels),
      hotPixels: this.hotPixels,
    };
  }

  /** Tiles as `readFullSize` reads them; undefined before the first two frames are in. */
  get tileLayout(): TileLayout | undefined {
    return this.layout;
  }

  /** Position of each frame, usual steps from the first. */
  positions(): number[] {
    return this.frames.length === 0 ? [] : positionsOf(this.frames.slice(1).map(({ step }) => step));
  }

  /**
   * What is still getting sharper; undefined where that cannot be known yet.
   */
  ahead(): DetailAhead | undefined {
    const { width } = this.focusFit();
    const window = this.frames.slice(this.start, this.end);
    if (Number.isNaN(width) || window.length < aheadFrames || this.end < this.frames.length) return undefined;
    const grids = window.map(({ detail, motion: { usable, matrix } }) => ({
      grid: detail!.broadGrid,
      matrix: usable ? matrix : undefined,
    }));
    const followed = followTiles(grids, this.size, this.shrink);
    matchLight(
      followed,
      window.map(({ motion: { gainRatio } }) => lumaGain(gainRatio)),
    );
    const curves = focusCurves(followed);
    const positions = this.positions().slice(this.start, this.end);
    const own = wellFitted(fitFocus(curves, positions).tiles, window.length).map((tile) => tile.width);
    // Detail that is so many times as broad goes out of focus as many times as far away.
    const broadWidth =
      own.length < minSample ? (width * broadSpacingPx) / differencePx : median(Float64Array.from(own));
    return { distances: focusAhead(curves, positions, broadWidth), tiles: curves.columns * curves.rows };
  }

  /** Measures a frame, which is to be the next of the window. */
  private take(id: number, number: number, decoded: DecodedFrame): Pick<LiveFrame, 'facts' | 'detail'> {
    const wanted = { planeShrink: this.planeFactor, broadSpacingPx };
    const { measurements, broadGrid, plane } = readFrame(number, decoded, wanted);
    const { detail: grid, ...facts } = measurements;
    this.estimator.add(motionPicture(id, decoded));
    this.hasNew = true;
    return { facts, detail: { grid, broadGrid: broadGrid!, plane: plane?.slice() } };
  }

  /** The frames of the window, by index in it, whose measurements are taken over. */
  private taken(k: number): boolean {
    const from = this.start === 0 ? 0 : settledFrames;
    const length = this.end - this.start;
    return k >= from && k < (this.end < this.frames.length ? length - unsettledEnd : length);
  }

  /** Solves the motion of the window and joins it to that of the frames before. */
  private alignWindow(window: readonly LiveFrame[]): void {
    const solved = this.estimator.solve(window[(window.length - 1) >> 1].id);
    const own = solved.frames.map(({ usable, similarity }) =>
      usable ? similarityToMotion(similarity) : undefined,
    );
    const settled = window.flatMap(({ motion }, k) => (own[k] && motion.usable && !this.taken(k) ? [k] : []));
    // The first frame is the one that all refer to; where it cannot be aligned, the first that can.
    const reference =
      settled.at(-1) ??
      Math.max(
        0,
        own.findIndex((motion) => motion !== undefined),
      );
    const known = settled.length > 0 ? window[reference].motion : undefined;
    const toFirst = composeMotions(
      known ? similarityToMotion(known.similarity) : noMotion,
      invertMotion(own[reference] ?? noMotion),
    );
    const gainOf = (channel: number) =>
      (known?.gainRatio[channel] ?? 1) / solved.frames[reference].gainRatio[channel];
    const toAll = window.map(({ motion }, k) => {
      const found = solved.frames[k];
      const moved = own[k] && composeMotions(toFirst, own[k]);
      return this.taken(k) ? joined(found, moved, motion.number, gainOf, this.size) : motion;
    });
    for (const [k, frame] of window.entries()) frame.motion = toAll[k];
  }

  private takeTravel(window: readonly LiveFrame[], { travel, blurred }: StackTravel): void {
    // A window in which the rail runs back most of the time takes that for forward.
    const agreement = window.reduce((sum, { step }, k) => {
      const again = travel.steps[k - 1];
      const isKnown = k > 0 && !this.taken(k) && !Number.isNaN(step) && !Number.isNaN(again);
      return isKnown ? sum + Math.sign(step) * Math.sign(again) : sum;
    }, 0);
    const sign = agreement < 0 ? -1 : 1;
    for (const [k, frame] of window.entries()) {
      if (!this.taken(k)) continue;
      frame.isBlurred = blurred.has(k);
      if (k === 0) continue;
      frame.step = sign * travel.steps[k - 1];
      frame.tileShare = travel.tileShare[k - 1];
    }
  }

  /** Fits the tiles that come into focus in the window; those that did so before keep their place. */
  private takeTiles(window: readonly LiveFrame[], { curves }: StackTravel): void {
    const { frames, level } = curves;
    const count = level.length / frames;
    if (this.tiles.length !== count) this.tiles = new Array<LiveTile | undefined>(count).fill(undefined);
    const indices = new Map(window.map((frame, k) => [frame, k]));
    // Of tiles that peak before, the newest frame is no sample. Those that peak at the first frame of all show one flank
    // only: they are placed by what the others show of width and falloff, which is more with every frame.
    const { width } = this.focusFit();
    const firstOpen = Number.isNaN(width) || this.isAnew ? 0 : frames - 1 - samplesPerSide(width);
    const positions = this.positions().slice(this.start, this.end);
    const toFit: number[] = [];
    const settled = new Map<number, TileFocus | undefined>();
    for (let tile = 0; tile < count; tile++) {
      const known = this.tiles[tile];
      const at = known && indices.get(known.frame);
      const peak = peakFrame(curves, tile);
      if (peak === undefined) {
        if (at !== undefined && this.taken(at)) this.tiles[tile] = undefined;
      } else if (!known || (this.taken(peak) && (peak === 0 || peak >= firstOpen || at !== peak))) {
        toFit.push(tile);
        continue;
      }
      settled.set(tile, known && at !== undefined ? placed(known, at, positions) : undefined);
    }
    const { tiles } = fitFocus(curves, positions, settled);
    for (const tile of toFit) {
      const found = tiles[tile];
      const known = this.tiles[tile];
      const isOld = known !== undefined && !indices.has(known.frame);
      if (isOld && !(found && found.peak > known.peak)) continue;
      this.tiles[tile] = found && {
        frame: window[found.best],
        offset: found.position - positions[found.best],
        width: found.width,
        peak: found.peak,
        error: found.error,
      };
    }
  }

  /** Searches the window for dust. */
  private searchDust(): void {
    const run = this.frames.slice(this.start, this.end).map(({ detail, motion, isBlurred }) => {
      const light = detail?.plane;
      return light && motion.usable && !isBlurred ? { light, matrix: motion.matrix } : undefined;
    });
    const planeSize = reducedSize(this.reduced, this.planeFactor);
    const found = findDust([run], planeSize, this.shrink * this.planeFactor);
    this.dust = noteDust(this.dust, found);
  }

  private focusFit(): FocusFit {
    const indices = new Map(this.frames.map((frame, k) => [frame, k]));
    const positions = this.positions();
    const tiles = this.tiles.map((tile): TileFocus | undefined => {
      if (!tile) return undefined;
      return placed(tile, indices.get(tile.frame)!, positions);
    });
    const inner = wellFitted(tiles, this.frames.length);
    const width = Math.exp(median(Float64Array.from(inner, (tile) => Math.log(tile.width))));
    return { tiles, width: inner.length < minSample ? Number.NaN : width };
  }

  private motion(): MotionSolution {
    const frames = this.frames.map(({ motion }) => motion);
    const known = frames.map(({ usable, similarity }) =>
      usable ? similarityToMotion(similarity) : undefined,
    );
    const radiusPx = Math.hypot(this.size.width, this.size.height) / 2;
    return {
      anchorNumber: frames[0].number,
      frames,
      growth: measureGrowth(known, radiusPx),
      warnings: [],
    };
  }
}

/** A tile by the index of its frame and the positions of the frames. */
function placed(
  { offset, width, peak, error }: LiveTile,
  best: number,
  positions: readonly number[],
): TileFocus {
  return { best, position: positions[best] + offset, width, peak, error };
}

/** A step as a length: one where it is not known. */
function lengthOf(step: number): number {
  return Number.isNaN(step) ? 1 : step;
}

/** The motion of a frame that has not been compared with another. */
function firstMotion(number: number, size: Size, channels: 1 | 3): FrameMotion {
  return {
    number,
    usable: true,
    ...transformOf(undefined, size),
    residualPx: Number.NaN,
    scaleResidual: 0,
    sharpness: 1,
    detail: 0,
    sameAsPrevious: false,
    gainRatio: new Array<number>(channels).fill(1),
  };
}

/** The motion of a frame in a window as that to the first frame of the stack. */
function joined(
  found: FrameMotion,
  moved: CentredMotion | undefined,
  number: number,
  gainOf: (channel: number) => number,
  size: Size,
): FrameMotion {
  return {
    ...found,
    number,
    ...transformOf(moved, size),
    gainRatio: found.gainRatio.map((gain, channel) => (moved ? gain * gainOf(channel) : 1)),
  };
}

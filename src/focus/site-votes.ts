import type { Size } from '../image/image.js';
import { averageRadius, windowRadius } from '../model/constants/focus.js';
import { clearOctaves, minPeakOctaves } from '../model/constants/model.js';
import { codesPerOctave } from '../model/constants/state.js';
import { faintCodes, maxSites, minPitch, sideFrames, siteRadius } from '../model/constants/surface.js';
import { noiseBin, type SiteVote } from './focus-curves.js';

/** Planes of a level's focus curves, as one memory holds them. */
export interface SeenLevel {
  width: number;
  height: number;
  stride: number;
  /** Rows whose sites are asked in this memory. */
  from: number;
  to: number;
  /** First row of the planes, and of `luma`. */
  top: number;
  lumaTop: number;
  best: Uint16Array;
  second: Uint16Array;
  bestOrdinal: Uint16Array;
  secondOrdinal: Uint16Array;
  /** Full-size brightness, and its stride: noise goes by it. */
  luma: Uint16Array;
  lumaStride: number;
  lumaWidth: number;
  lumaHeight: number;
  noise: Float64Array;
  level: number;
}

/** Places of a level at which it is asked which side of an edge is near: `columns` by `rows`, `pitch` pixels apart, from `margin` on. */
export function siteGrid({ width, height }: Size) {
  const pitch = Math.max(minPitch, Math.ceil(Math.sqrt((width * height) / maxSites)));
  const margin = siteRadius + averageRadius;
  const along = (side: number) => Math.max(0, Math.ceil((side - 2 * margin) / pitch));
  return { pitch, margin, columns: along(width), rows: along(height) };
}

/** Whether a stack of so many frames can show sides of edges so far apart. */
export function isAsked(frames: number, apart: number): boolean {
  return apart <= frames - 2;
}

/**
 * What sites on a grid show, where they show anything: see `seeThrough` in surface/see-through.ts.
 *
 * @param frames Number of frames.
 * @param apart Least distance of the two sides of an edge, frames.
 */
export function* siteVotes(here: SeenLevel, frames: number, apart: number): Generator<SiteVote> {
  if (!isAsked(frames, apart)) return;
  const { pitch, margin, columns, rows } = siteGrid(here);
  const window = new Window(here, frames);
  for (let j = 0; j < rows; j++) {
    const y = margin + j * pitch;
    if (y < here.from || y >= here.to) continue;
    for (let i = 0; i < columns; i++) {
      const x = margin + i * pitch;
      if (!window.mayHoldEdge(x, y, apart)) continue;
      const vote = window.vote(x, y, apart);
      if (vote !== 0) yield { x, y, vote };
    }
  }
}

/** What a window shows of the two sides of an edge: numbers of pixels, first of the side of the lower ordinal. */
export interface SeenSides {
  /** Clear pixels of the window, and those of either side among them. */
  clear: number;
  ofSides: number;
  /** Pixels well within a side, and those of them that show the other's detail as well. */
  within: readonly [number, number];
  showing: readonly [number, number];
}

/**
 * The share of one side's pixels that show the other's detail, less the same of the other side. It counts by how likely two
 * clear pixels of the window both belong to these sides: where there are others, those show through too.
 */
export function voteOf({ clear, ofSides, within, showing }: SeenSides): number {
  if (within[0] === 0 || within[1] === 0) return 0;
  return (showing[0] / within[0] - showing[1] / within[1]) * (ofSides / clear) ** 2;
}

/** Pixels well within one side of an edge, as indices in the planes, and their mean measure, code steps. */
interface Side {
  ordinal: number;
  pixels: number[];
  usual: number;
}

const radius = siteRadius + averageRadius;
const side = 2 * radius + 1;
/** The window's own pixels among those of a square of `side`. */
const inner = Array.from({ length: side * side }, (_, i) => i).filter((i) => {
  const [x, y] = [(i % side) - radius, Math.floor(i / side) - radius];
  return Math.max(Math.abs(x), Math.abs(y)) <= siteRadius;
});
/** Steps in such a square to the pixels `averageRadius` away all round. */
const around = [-averageRadius, 0, averageRadius].flatMap((dy) =>
  [-averageRadius, 0, averageRadius].map((dx) => dy * side + dx),
);

/** The window about a site, with room that is used again. */
class Window {
  /** Ordinals of clear peaks, 0 = none; the window and `averageRadius` around it. */
  private readonly labels = new Int32Array(side * side);
  /** Index of these pixels in the planes. */
  private readonly at = new Int32Array(side * side);
  /** Pixels of the window by ordinal. */
  private readonly counts: Int32Array;

  constructor(
    private readonly here: SeenLevel,
    frames: number,
  ) {
    this.counts = new Int32Array(frames + 2);
  }

  /** Whether clear peaks of some pixels of the window lie so many frames apart. */
  mayHoldEdge(x: number, y: number, apart: number): boolean {
    let least = Infinity;
    let most = 0;
    for (let v = y - siteRadius; v <= y + siteRadius; v += windowRadius) {
      for (let u = x - siteRadius; u <= x + siteRadius; u += windowRadius) {
        const label = this.labelAt(this.indexOf(u, v));
        if (label === 0) continue;
        if (label < least) least = label;
        if (label > most) most = label;
      }
    }
    return most - least >= apart;
  }

  vote(x: number, y: number, apart: number): number {
    this.moveTo(x, y);
    const first = this.mostFrequent(() => true);
    const other = this.mostFrequent((ordinal) => Math.abs(ordinal - first) >= apart);
    if (other === 0) return 0;
    const [lower, upper] = [Math.min(first, other), Math.max(first, other)].map((k) => this.sideOf(k));
    return voteOf({
      clear: this.counts.reduce((sum, count) => sum + count),
      ofSides: this.countNear(first) + this.countNear(other),
      within: [lower.pixels.length, upper.pixels.length],
      showing: [this.countShowing(lower, upper), this.countShowing(upper, lower)],
    });
  }

  /**
   * Pixels of a side that show the other's detail as well. On either side it counts down to the same part of what it has in the
   * open, that which the fainter of both still shows above noise: what the measure's window carries across the edge is
   * then the same both ways.
   */
  private countShowing({ pixels, usual }: Side, other: Side): number {
    const { second, secondOrdinal } = this.here;
    const overNoise = minPeakOctaves * codesPerOctave + Math.max(0, other.usual - usual);
    const least = other.usual - faintCodes;
    return pixels.filter(
      (at) =>
        isNear(secondOrdinal[at], other.ordinal) &&
        second[at] >= least &&
        second[at] > this.noiseAt(at) + overNoise,
    ).length;
  }

  private moveTo(x: number, y: number): void {
    const { labels, at, counts } = this;
    for (let i = 0, v = y - radius; v <= y + radius; v++) {
      for (let u = x - radius; u <= x + radius; u++, i++) {
        at[i] = this.indexOf(u, v);
        labels[i] = this.labelAt(at[i]);
      }
    }
    counts.fill(0);
    for (const i of inner) counts[labels[i]]++;
    counts[0] = 0;
  }

  private mostFrequent(isAllowed: (ordinal: number) => boolean): number {
    let found = 0;
    let most = 0;
    for (let ordinal = 1; ordinal < this.counts.length - 1; ordinal++) {
      const count = this.countNear(ordinal);
      if (count > most && isAllowed(ordinal)) {
        most = count;
        found = ordinal;
      }
    }
    return found;
  }

  private countNear(ordinal: number): number {
    let count = 0;
    for (let k = ordinal - sideFrames; k <= ordinal + sideFrames; k++) count += this.counts[k] ?? 0;
    return count;
  }

  /** The pixels of an ordinal beside which, as far as energy is averaged, all is of the same side, or goes on from it. */
  private sideOf(ordinal: number): Side {
    const { labels, at, here } = this;
    const pixels: number[] = [];
    let sum = 0;
    for (const i of inner) {
      if (!isNear(labels[i], ordinal)) continue;
      if (!around.every((step) => isNear(labels[i + step], ordinal, 2 * sideFrames))) continue;
      pixels.push(at[i]);
      sum += here.best[at[i]];
    }
    return { ordinal, pixels, usual: Math.floor(sum / pixels.length) };
  }

  /** Ordinal of a pixel's best frame, 0 where it is not clear. */
  private labelAt(at: number): number {
    const isClear = this.here.best[at] > this.noiseAt(at) + clearOctaves * codesPerOctave;
    return isClear ? this.here.bestOrdinal[at] : 0;
  }

  private indexOf(x: number, y: number): number {
    return (y - this.here.top) * this.here.stride + x;
  }

  private noiseAt(at: number): number {
    const { stride, level, luma, lumaStride, lumaWidth, lumaHeight, noise, top, lumaTop } = this.here;
    const y = Math.min(lumaHeight - 1, (Math.floor(at / stride) + top) << level) - lumaTop;
    const x = Math.min(lumaWidth - 1, (at % stride) << level);
    return noise[noiseBin(luma[y * lumaStride + x] & 255)];
  }
}

function isNear(label: number, ordinal: number, frames = sideFrames): boolean {
  return label !== 0 && Math.abs(label - ordinal) <= frames;
}

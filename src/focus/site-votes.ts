import type { Size } from '../image/image.js';
import { averageRadius, windowRadius } from '../model/constants/focus.js';
import { clearOctaves, minPeakOctaves } from '../model/constants/model.js';
import { codesPerOctave } from '../model/constants/state.js';
import { faintOctaves, maxSites, minPitch, sideFrames, siteRadius } from '../model/constants/surface.js';
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
 * clear pixels of the window both belong to these sides: where there are more, others show through.
 */
export function voteOf({ clear, ofSides, within, showing }: SeenSides): number {
  if (within[0] === 0 || within[1] === 0) return 0;
  return (showing[0] / within[0] - showing[1] / within[1]) * (ofSides / clear) ** 2;
}

/** Pixels well within one side of an edge, and their mean energy, code steps. */
interface Side {
  ordinal: number;
  pixels: number[];
  usual: number;
}

/** The window about a site, with room that is used again. */
class Window {
  private readonly radius = siteRadius + averageRadius;
  private readonly side = 2 * this.radius + 1;
  /** Ordinals of clear peaks, 0 = none; the window and `averageRadius` around it. */
  private readonly labels = new Int32Array(this.side * this.side);
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
        const label = this.labelAt(u, v);
        if (label === 0) continue;
        if (label < least) least = label;
        if (label > most) most = label;
      }
    }
    return most - least >= apart;
  }

  vote(x: number, y: number, apart: number): number {
    const { counts } = this;
    this.readLabels(x, y);
    const first = this.mostFrequent(() => true);
    const other = this.mostFrequent((ordinal) => Math.abs(ordinal - first) >= apart);
    if (other === 0) return 0;
    const [lower, upper] = [Math.min(first, other), Math.max(first, other)].map((k) => this.sideOf(x, y, k));
    return voteOf({
      clear: counts.reduce((sum, count) => sum + count),
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
  private countShowing(side: Side, other: Side): number {
    const { second, secondOrdinal } = this.here;
    const overNoise = minPeakOctaves * codesPerOctave + Math.max(0, other.usual - side.usual);
    const least = other.usual - faintOctaves * codesPerOctave;
    return side.pixels.filter(
      (at) =>
        isNear(secondOrdinal[at], other.ordinal) &&
        second[at] > this.noiseAt(at) + overNoise &&
        second[at] >= least,
    ).length;
  }

  /** Labels of the window and around it, and how many pixels of the window have each. */
  private readLabels(x: number, y: number): void {
    const { labels, counts, side, radius } = this;
    counts.fill(0);
    for (let row = 0, i = 0; row < side; row++) {
      for (let column = 0; column < side; column++, i++) {
        labels[i] = this.labelAt(x + column - radius, y + row - radius);
        if (labels[i] !== 0 && this.isInner(row, column)) counts[labels[i]]++;
      }
    }
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

  /** The pixels of an ordinal whose own measure holds nothing of what lies beside. */
  private sideOf(x: number, y: number, ordinal: number): Side {
    const { labels, side, radius, here } = this;
    const pixels: number[] = [];
    let energy = 0;
    for (let row = 0, i = 0; row < side; row++) {
      for (let column = 0; column < side; column++, i++) {
        if (!this.isInner(row, column) || !isNear(labels[i], ordinal) || !this.isInside(i, ordinal)) continue;
        const at = (y + row - radius - here.top) * here.stride + x + column - radius;
        pixels.push(at);
        energy += 2 ** (here.best[at] / codesPerOctave);
      }
    }
    return { ordinal, pixels, usual: codesPerOctave * Math.log2(energy / pixels.length) };
  }

  /** Whether a pixel of `labels` lies in the window itself. */
  private isInner(row: number, column: number): boolean {
    const last = this.side - averageRadius;
    return row >= averageRadius && row < last && column >= averageRadius && column < last;
  }

  /** Whether what lies `averageRadius` away all round is of the same side, or one that goes on from it. */
  private isInside(i: number, ordinal: number): boolean {
    const { labels, side } = this;
    for (let dy = -averageRadius; dy <= averageRadius; dy += averageRadius) {
      for (let dx = -averageRadius; dx <= averageRadius; dx += averageRadius) {
        const label = labels[i + dy * side + dx];
        if (label === 0 || Math.abs(label - ordinal) > 2 * sideFrames) return false;
      }
    }
    return true;
  }

  /** Ordinal of a pixel's best frame, 0 where it is not clear. */
  private labelAt(x: number, y: number): number {
    const at = (y - this.here.top) * this.here.stride + x;
    return this.here.best[at] > this.noiseAt(at) + clearOctaves * codesPerOctave
      ? this.here.bestOrdinal[at]
      : 0;
  }

  private noiseAt(at: number): number {
    const { stride, level, luma, lumaStride, lumaWidth, lumaHeight, noise, top, lumaTop } = this.here;
    const y = Math.min(lumaHeight - 1, (Math.floor(at / stride) + top) << level) - lumaTop;
    const x = Math.min(lumaWidth - 1, (at % stride) << level);
    return noise[noiseBin(luma[y * lumaStride + x] & 255)];
  }
}

function isNear(label: number, ordinal: number): boolean {
  return label !== 0 && Math.abs(label - ordinal) <= sideFrames;
}

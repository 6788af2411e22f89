import type { Size } from '../image/image.js';
import { minPeakOctaves, sureOctaves } from '../model/constants/model.js';
import { codesPerOctave } from '../model/constants/state.js';
import {
  faintOctaves,
  leakPx,
  maxSites,
  maxUsualRatioOctaves,
  minCorePixels,
  minKnownShare,
  minPitch,
  minSidePixels,
  minSidesShare,
  ownOctaves,
  sideFrames,
  sideOctaves,
  siteRadius,
} from '../model/constants/surface.js';
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
  const margin = siteRadius + leakPx;
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

/** The window about a site, with room that is used again. */
class Window {
  private readonly side = 2 * (siteRadius + leakPx) + 1;
  /** Ordinals of clear peaks, 0 = none; the window and `leakPx` around it. */
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
    const pitch = siteRadius / 2;
    let least = Infinity;
    let most = 0;
    for (let v = y - siteRadius; v <= y + siteRadius; v += pitch) {
      for (let u = x - siteRadius; u <= x + siteRadius; u += pitch) {
        const label = this.labelAt(u, v);
        if (label === 0) continue;
        if (label < least) least = label;
        if (label > most) most = label;
      }
    }
    return most - least >= apart;
  }

  vote(x: number, y: number, apart: number): number {
    const { labels, side } = this;
    const sides = this.findSides(x, y, apart);
    if (sides === undefined) return 0;
    const { first, other } = sides;
    const seen = [
      { ordinal: first, against: other },
      { ordinal: other, against: first },
    ].map(({ ordinal, against }) => {
      // Pixels of this side, beyond the leak, by their own detail: their mean energy first.
      const core: number[] = [];
      let energy = 0;
      for (let row = leakPx; row < side - leakPx; row++) {
        for (let column = leakPx; column < side - leakPx; column++) {
          const i = row * side + column;
          if (!isNear(labels[i], ordinal) || !this.isInside(i, ordinal)) continue;
          const at =
            (y + row - siteRadius - leakPx - this.here.top) * this.here.stride +
            x +
            column -
            siteRadius -
            leakPx;
          core.push(at);
          energy += 2 ** (this.here.best[at] / codesPerOctave);
        }
      }
      return { core, against, usual: codesPerOctave * Math.log2(energy / Math.max(1, core.length)) };
    });
    if (seen.some(({ core }) => core.length < minCorePixels)) return 0;
    const usual = seen.map((side) => side.usual / codesPerOctave);
    if (Math.abs(usual[0] - usual[1]) > maxUsualRatioOctaves) return 0;
    const noise = this.noiseAt((y - this.here.top) * this.here.stride + x) / codesPerOctave;
    if (Math.min(...usual) < noise + sureOctaves) return 0;
    const [through, back] = seen.map(({ core, against, usual }, i) =>
      this.shareShowing(core, usual, against, seen[1 - i].usual),
    );
    return (through - back) * (other > first ? 1 : -1);
  }

  /** Part of a side's pixels that show the other side's detail as well. */
  private shareShowing(core: readonly number[], usual: number, other: number, otherUsual: number): number {
    const { best, second, secondOrdinal } = this.here;
    const floor = otherUsual - faintOctaves * codesPerOctave;
    let own = 0;
    let showing = 0;
    for (const at of core) {
      if (best[at] < usual - ownOctaves * codesPerOctave) continue;
      own++;
      if (Math.abs(secondOrdinal[at] - other) > sideFrames || second[at] < floor) continue;
      if (best[at] - second[at] > faintOctaves * codesPerOctave) continue;
      if (second[at] > this.noiseAt(at) + minPeakOctaves * codesPerOctave) showing++;
    }
    return own === 0 ? 0 : showing / own;
  }

  /** The two ordinals that most pixels of the window are sharp at, the more frequent first. */
  private findSides(x: number, y: number, apart: number): { first: number; other: number } | undefined {
    const { labels, counts, side } = this;
    counts.fill(0);
    let known = 0;
    for (let row = 0, i = 0; row < side; row++) {
      for (let column = 0; column < side; column++, i++) {
        const label = this.labelAt(x + column - siteRadius - leakPx, y + row - siteRadius - leakPx);
        labels[i] = label;
        const isInner = row >= leakPx && row < side - leakPx && column >= leakPx && column < side - leakPx;
        if (label === 0 || !isInner) continue;
        counts[label]++;
        known++;
      }
    }
    if (known < minKnownShare * (2 * siteRadius + 1) ** 2) return undefined;
    const first = this.mostFrequent(() => true);
    const other = this.mostFrequent((ordinal) => Math.abs(ordinal - first) >= apart);
    const smaller = this.countNear(other);
    if (other === 0 || smaller < minSidePixels) return undefined;
    if (this.countNear(first) + smaller < minSidesShare * known) return undefined;
    return { first, other };
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
    return ordinal === 0 ? 0 : count;
  }

  /** Whether what lies `leakPx` away all round is of the same side. */
  private isInside(i: number, ordinal: number): boolean {
    const { labels, side } = this;
    for (let dy = -leakPx; dy <= leakPx; dy += leakPx) {
      for (let dx = -leakPx; dx <= leakPx; dx += leakPx) {
        const label = labels[i + dy * side + dx];
        if (label === 0 || Math.abs(label - ordinal) > 2 * sideFrames) return false;
      }
    }
    return true;
  }

  /** Ordinal of a pixel's best frame, 0 where it is not clear. */
  private labelAt(x: number, y: number): number {
    const at = (y - this.here.top) * this.here.stride + x;
    return this.here.best[at] > this.noiseAt(at) + sideOctaves * codesPerOctave
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

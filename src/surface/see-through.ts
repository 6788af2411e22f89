import { type FocusTracker, noiseBin } from '../focus/focus-tracker.js';
import { codesPerOctave } from '../model/constants/state.js';
import {
  blocksAcross,
  faintOctaves,
  halfVote,
  leakPx,
  maxSites,
  minApartFrames,
  minBlockPx,
  minCorePixels,
  minKnownShare,
  minPitch,
  minSidePixels,
  minSidesShare,
  ownOctaves,
  seenLevels,
  sideFrames,
  sideOctaves,
  siteBlurPx,
  siteRadius,
} from '../model/constants/surface.js';
import type { PictureEvidence } from '../stack/focus-direction.js';
import { measureBlur } from './measure-blur.js';

interface Level {
  width: number;
  height: number;
  stride: number;
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

/**
 * Which end of the stack the pictures show to be near. Where a near thing is out of focus its rim is spread and half
 * transparent, and the far side's sharp detail shows through it; a near edge in focus lets nothing through, and blur of
 * the far side never lies over it. So beside a depth edge, where one side is sharp in frame a and the other in frame b:
 *
 *   detail of b on the side of a, none of a on the side of b:  a is near
 *
 * and the reverse. The second peaks of the focus curves show both. (Occlusion by a lens: N. Asada, H. Fujiwara &
 * T. Matsuyama, Edge and depth from focus, Int. J. Computer Vision 26, 1998.)
 *
 * It fails, by giving no evidence, where nothing with detail lies behind anything: a plane, a lone ball before a plain
 * ground, steps between near and far narrower than the focus measure's window is blurred there.
 *
 * Asks the focus curves that `tracker` followed, before the surface is made of them. Undefined when too few of them stand
 * out to say how wide the blur is.
 *
 * @param frames Number of frames.
 */
export function seeThrough(tracker: FocusTracker, frames: number): PictureEvidence | undefined {
  const blurPx = measureBlur(tracker, frames);
  if (blurPx === undefined) return undefined;
  const { width, height } = tracker.state[0];
  const blockSide = Math.max(minBlockPx, Math.ceil(Math.min(width, height) / blocksAcross));
  const columns = Math.ceil(width / blockSide);
  const votes = new Float64Array(columns * Math.ceil(height / blockSide));
  const sizes = new Float64Array(votes.length);
  for (let level = 0; level < Math.min(seenLevels, tracker.levels); level++) {
    const apart = Math.max(minApartFrames, Math.ceil((siteBlurPx * 2 ** level) / blurPx));
    if (apart > frames - 2) continue;
    askLevel(levelOf(tracker, level), frames, apart, (x, y, vote) => {
      const block = Math.floor((y << level) / blockSide) * columns + Math.floor((x << level) / blockSide);
      votes[block] += vote;
      sizes[block] += Math.abs(vote);
    });
  }
  return { ...sumUp(votes, sizes), blurPx };
}

function levelOf(tracker: FocusTracker, level: number): Level {
  const { width, height, stride } = tracker.state[level];
  const full = tracker.state[0];
  return {
    width,
    height,
    stride,
    best: tracker.plane(level, 'best'),
    second: tracker.plane(level, 'second'),
    bestOrdinal: tracker.plane(level, 'bestOrdinal'),
    secondOrdinal: tracker.plane(level, 'secondOrdinal'),
    luma: tracker.plane(0, 'tones'),
    lumaStride: full.stride,
    lumaWidth: full.width,
    lumaHeight: full.height,
    noise: tracker.noiseCodes(level),
    level,
  };
}

function sumUp(votes: Float64Array, sizes: Float64Array): Omit<PictureEvidence, 'blurPx'> {
  let [sum, squares, absolute, blocks] = [0, 0, 0, 0];
  for (let i = 0; i < votes.length; i++) {
    if (sizes[i] === 0) continue;
    const vote = votes[i] / (sizes[i] + halfVote);
    sum += vote;
    squares += vote * vote;
    absolute += Math.abs(vote);
    blocks++;
  }
  if (squares === 0) return { z: 0, agreement: 0, blocks };
  return { z: standardErrors(sum, squares, blocks), agreement: Math.abs(sum) / absolute, blocks };
}

/**
 * How far the mean of votes lies from 0, as the standard errors of a normal distribution that are as improbable: Student's
 * t of the votes, turned into them by D. L. Wallace (Bounds on normal approximations to Student's and the chi-square
 * distributions, Ann. Math. Statist. 30, 1959). Never more than votes that all agree can show: the chance of n equal
 * signs is 2^-n.
 */
export function standardErrors(sum: number, squares: number, votes: number): number {
  const most = Math.sqrt(2 * Math.LN2 * votes);
  // 1 + t^2 / (n - 1) = 1 / (1 - share), for t = mean / (deviation / sqrt n).
  const share = Math.min(1, (sum * sum) / (votes * squares));
  const freedom = votes - 1;
  const found = ((8 * freedom + 1) / (8 * freedom + 3)) * Math.sqrt(-freedom * Math.log(1 - share));
  return Math.sign(sum) * Math.min(most, Number.isFinite(found) ? found : most);
}

/** Visits sites on a grid and hands on what each shows: -1 to 1, above 0 where the lower ordinal is near. */
function askLevel(
  here: Level,
  frames: number,
  apart: number,
  say: (x: number, y: number, vote: number) => void,
): void {
  const { width, height } = here;
  const pitch = Math.max(minPitch, Math.ceil(Math.sqrt((width * height) / maxSites)));
  const margin = siteRadius + leakPx;
  const window = new Window(here, frames);
  for (let y = margin; y < height - margin; y += pitch) {
    for (let x = margin; x < width - margin; x += pitch) {
      if (!window.mayHoldEdge(x, y, apart)) continue;
      const vote = window.vote(x, y, apart);
      if (vote !== 0) say(x, y, vote);
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
    private readonly here: Level,
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
          const at = (y + row - siteRadius - leakPx) * this.here.stride + x + column - siteRadius - leakPx;
          core.push(at);
          energy += 2 ** (this.here.best[at] / codesPerOctave);
        }
      }
      return { core, against, usual: codesPerOctave * Math.log2(energy / Math.max(1, core.length)) };
    });
    if (seen.some(({ core }) => core.length < minCorePixels)) return 0;
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
      if (second[at] > this.noiseAt(at) + sideOctaves * codesPerOctave) showing++;
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
    const at = y * this.here.stride + x;
    return this.here.best[at] > this.noiseAt(at) + sideOctaves * codesPerOctave
      ? this.here.bestOrdinal[at]
      : 0;
  }

  private noiseAt(at: number): number {
    const { stride, level, luma, lumaStride, lumaWidth, lumaHeight, noise } = this.here;
    const y = Math.min(lumaHeight - 1, Math.floor(at / stride) << level);
    const x = Math.min(lumaWidth - 1, (at % stride) << level);
    return noise[noiseBin(luma[y * lumaStride + x] & 255)];
  }
}

function isNear(label: number, ordinal: number): boolean {
  return label !== 0 && Math.abs(label - ordinal) <= sideFrames;
}

import { type FocusCurves, noiseBin } from '../focus/focus-curves.js';
import type { Size } from '../image/image.js';
import { codesPerOctave } from '../model/constants/state.js';
import {
  behindOctaves,
  blocksAcross,
  faintOctaves,
  leakPx,
  maxSites,
  maxUsualRatioOctaves,
  minApartFrames,
  minBlockPx,
  minBlockVote,
  minCorePixels,
  minKnownShare,
  minPitch,
  minReliabilityScale,
  minSidePixels,
  minSidesShare,
  minUsualOctaves,
  ownOctaves,
  reliabilityCount,
  seenLevels,
  sideFrames,
  sideOctaves,
  siteBlurPx,
  siteRadius,
} from '../model/constants/surface.js';
import type { PictureEvidence } from '../stack/focus-direction.js';
import { measureBlur } from './measure-blur.js';

/** Placements of the blocks, in blocks: where the edge of a block divides a patch is chance, and the mean is taken. */
const blockOffsets = [
  { right: 0, down: 0 },
  { right: 0.5, down: 0 },
  { right: 0, down: 0.5 },
  { right: 0.5, down: 0.5 },
];
/**
 * Scales of the votes' reliability: of blocks with a sum of votes v, (v + scale) / (v + 2 scale) point to the near end.
 * Small scales are the more usual ones: of 48 stacks of the scenes for tuning 22 have one of 0.3 or less, 2 one of more
 * than 1.2.
 */
const reliabilityScales = Array.from({ length: reliabilityCount }, (_, i) => ({
  scale: minReliabilityScale * 2 ** i,
  prior: 2 ** -i,
}));

/** A level as one memory holds it. */
interface Level {
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
export function seeThrough(tracker: FocusCurves, frames: number): PictureEvidence | undefined {
  const blurPx = measureBlur(tracker, frames);
  if (blurPx === undefined) return undefined;
  const { width, height } = tracker.state[0];
  const blockSide = Math.max(minBlockPx, Math.ceil(Math.min(width, height) / blocksAcross));
  const columns = Math.ceil(width / blockSide) + 1;
  const rows = Math.ceil(height / blockSide) + 1;
  const sums = blockOffsets.map(() => new Float64Array(columns * rows));
  for (let level = 0; level < Math.min(seenLevels, tracker.levels); level++) {
    const apart = Math.max(minApartFrames, Math.ceil((siteBlurPx * 2 ** level) / blurPx));
    if (apart > frames - 2) continue;
    const say = (x: number, y: number, vote: number) => {
      for (const [i, { right, down }] of blockOffsets.entries()) {
        const column = Math.floor((x << level) / blockSide + right);
        const row = Math.floor((y << level) / blockSide + down);
        sums[i][row * columns + column] += vote;
      }
    };
    for (const memory of tracker.state[level].window.own.keys()) {
      askLevel(levelOf(tracker, level, memory), frames, apart, say);
    }
  }
  const found = sums.map(weighVotes);
  return {
    z: standardErrors(mean(found.map(({ z }) => (Math.sign(z) * z * z) / 2))),
    agreement: mean(found.map(({ agreement }) => agreement)),
    blocks: Math.round(mean(found.map(({ blocks }) => blocks))),
    blurPx,
  };
}

function levelOf(tracker: FocusCurves, level: number, memory: number): Level {
  const { width, height, stride, window } = tracker.state[level];
  const full = tracker.state[0];
  return {
    width,
    height,
    stride,
    ...window.own[memory],
    top: window.held[memory].from,
    lumaTop: full.window.held[memory].from,
    best: tracker.plane(level, 'best', memory),
    second: tracker.plane(level, 'second', memory),
    bestOrdinal: tracker.plane(level, 'bestOrdinal', memory),
    secondOrdinal: tracker.plane(level, 'secondOrdinal', memory),
    luma: tracker.plane(0, 'tones', memory),
    lumaStride: full.stride,
    lumaWidth: full.width,
    lumaHeight: full.height,
    noise: tracker.noiseCodes(level),
    level,
  };
}

/** Evidence of the blocks' sums of votes; those of blocks without a say are ignored. */
export function weighVotes(sums: Iterable<number>): Omit<PictureEvidence, 'blurPx'> {
  const votes = Array.from(sums, (sum) => Math.sign(sum) * Math.max(0, Math.abs(sum) - minBlockVote)).filter(
    (vote) => vote !== 0,
  );
  const total = votes.reduce((sum, vote) => sum + vote, 0);
  const absolute = votes.reduce((sum, vote) => sum + Math.abs(vote), 0);
  return {
    z: standardErrors(logLikelihood(votes, 1) - logLikelihood(votes, -1)),
    agreement: absolute === 0 ? 0 : Math.abs(total) / absolute,
    blocks: votes.length,
  };
}

/**
 * Log likelihood of the signs of votes, where the near end is the one of this sign. How reliable the blocks of this stack
 * are is not known: the mean over all scales (a Bayes factor: R. E. Kass & A. E. Raftery, Bayes factors, J. Amer.
 * Statist. Assoc. 90, 1995), so that strong votes which contradict each other make both signs equally likely.
 */
function logLikelihood(votes: readonly number[], sign: number): number {
  const logs = reliabilityScales.map(({ scale, prior }) =>
    votes.reduce((sum, vote) => {
      const size = Math.abs(vote);
      return sum + Math.log((vote * sign > 0 ? size + scale : scale) / (size + 2 * scale));
    }, Math.log(prior)),
  );
  const largest = Math.max(...logs);
  return largest + Math.log(logs.reduce((sum, log) => sum + Math.exp(log - largest), 0));
}

function mean(values: readonly number[]): number {
  return values.reduce((sum, value) => sum + value, 0) / values.length;
}

/** Standard errors of a normal distribution whose error is as improbable: odds of B to 1 are sqrt(2 ln B). */
function standardErrors(logOdds: number): number {
  return Math.sign(logOdds) * Math.sqrt(2 * Math.abs(logOdds));
}

/** Sites of a level: a window of `margin` pixels about every `pitch`-th, so far from the edges. */
function sitesOf({ width, height }: Size): { pitch: number; margin: number } {
  return {
    pitch: Math.max(minPitch, Math.ceil(Math.sqrt((width * height) / maxSites))),
    margin: siteRadius + leakPx,
  };
}

/** Planes that `seeThrough` asks at the rows of `rowsSeen`, of each of `levelsSeen`; of level 0 the tones as well. */
export const planesSeen = ['best', 'second', 'bestOrdinal', 'secondOrdinal'] as const;
export const levelsSeen = seenLevels;

/** 1 for each row of a level that a window of `seeThrough` lies on. */
export function rowsSeen(level: Size): Uint8Array {
  const { pitch, margin } = sitesOf(level);
  const rows = new Uint8Array(level.height);
  for (let y = margin; y < level.height - margin; y += pitch) rows.fill(1, y - margin, y + margin + 1);
  return rows;
}

/** Visits sites on a grid and hands on what each shows: -1 to 1, above 0 where the lower ordinal is near. */
function askLevel(
  here: Level,
  frames: number,
  apart: number,
  say: (x: number, y: number, vote: number) => void,
): void {
  const { width, height } = here;
  const { pitch, margin } = sitesOf(here);
  const window = new Window(here, frames);
  for (let y = margin; y < height - margin; y += pitch) {
    if (y < here.from || y >= here.to) continue;
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
    if (Math.min(...usual) < noise + minUsualOctaves) return 0;
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
      if (second[at] > this.noiseAt(at) + behindOctaves * codesPerOctave) showing++;
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

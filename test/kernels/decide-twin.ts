import { at, type Plane } from './kernel-rig.js';
import { type Candidate, candidatesOf, lastFrame, type Scene, supportsAt } from './label-scene.js';
import { unitsOf } from './label-twin.js';
import { tuned } from './tuned.js';

// Plain twins of decideStrip and storeSurfaceStrip: one pixel at a time, by their docstrings.

const leastSupport = tuned('minPeakOctaves');
const mostSupport = tuned('maxSupport');
const supportSteps = tuned('supportSteps');
const maxToneOdds = tuned('maxToneOdds');
const sameSurface = tuned('sameUnits');
const frontReach = tuned('windowRadius');
const reachPx = tuned('backRadius');
const tonesReach = tuned('shareRadius');
const windowPixels = tuned('thinPixels');
const toneNoise = tuned('toneNoise');
const alphaOdds = tuned('alphaOdds');
const sureSupport = tuned('sureSupport');
const wholeFrameWeight = tuned('wholeFrameWeight');
const refinedWithin = tuned('sameUnits');
const coarserSay = tuned('coarserShare');
const discRows = tuned('discRows');
const discPixels = tuned('discPixels');
const certaintyOdds = tuned('certaintyOdds');
const certaintyOfSupport = tuned('certaintyOfSupport');
const certaintyOfLead = tuned('certaintyOfLead');
const certaintyFloor = tuned('minCompared');

/** What is decided between: the scene with its supports and labels, and which end of the stack is near. */
export interface Labelled {
  scene: Scene;
  supports: Plane;
  labels: Plane;
  nearSign: number;
}

interface Around {
  x: number;
  y: number;
  label: number;
  /** Square of its distance, px. */
  away: number;
}

/** Pixels of the picture within a disc about a pixel. */
function around(labels: Plane, x: number, y: number, reach: number): Around[] {
  const found: Around[] = [];
  for (let v = Math.max(0, y - reach); v <= Math.min(labels.height - 1, y + reach); v++) {
    for (let u = Math.max(0, x - reach); u <= Math.min(labels.width - 1, x + reach); u++) {
      const away = (u - x) ** 2 + (v - y) ** 2;
      if (away <= reach ** 2) found.push({ x: u, y: v, label: at(labels, u, v), away });
    }
  }
  return found;
}

/** Pixels of the picture within a square about a pixel. */
function square({ width, height }: Plane, x: number, y: number, reach: number): [number, number][] {
  const found: [number, number][] = [];
  for (let v = Math.max(0, y - reach); v <= Math.min(height - 1, y + reach); v++) {
    for (let u = Math.max(0, x - reach); u <= Math.min(width - 1, x + reach); u++) found.push([u, v]);
  }
  return found;
}

/** Support of a stored height above noise, octaves, in whole steps. */
function supportOf(rise: number): number {
  const octaves = Math.max(0, Math.min(mostSupport, rise / 512 - leastSupport));
  return Math.floor(supportSteps * octaves) / supportSteps;
}

/** Whether a stored weight says that its peak is the detail of something beside: bit 14. */
export const isLeak = (stored: number) => (stored & 0x4000) !== 0;

/** The best peak of level 2; without support where it is not the pixel's own. */
function wideCandidate(
  { states }: Scene,
  x: number,
  y: number,
): (Candidate & { support: number }) | undefined {
  const [fine, , wide] = states;
  if (!wide) return undefined;
  const isBeside = isLeak(at(wide.after, x >> 2, y >> 2));
  const support = isBeside ? 0 : supportSteps * supportOf(at(wide.best, x >> 2, y >> 2));
  return {
    n: 3,
    depthIndex: at(wide.before, x >> 2, y >> 2),
    tone: at(fine.coarseTones, x, y) >> 8,
    support,
  };
}

/** Tone of a pixel in the frame in which what was decided is sharp. */
export function toneTwin({ scene, supports }: Labelled, decided: number, x: number, y: number): number {
  const own = supportsAt(supports, x, y);
  const same = Math.trunc(unitsOf(sameSurface, scene.unit));
  const candidates = candidatesOf(scene, x, y);
  const shown = candidates.find(({ n, depthIndex }) => own[n] > 0 && Math.abs(depthIndex - decided) < same);
  return (shown ?? candidates[0]).tone;
}

const sumOf = (values: readonly number[]) => values.reduce((sum, value) => sum + value, 0);
const meanOf = (values: readonly number[]) => sumOf(values) / values.length;

/** A pixel that has a peak of the near surface: its tone in that one's frame, and whether it is labelled behind it. */
interface Seen {
  tone: number;
  isBehind: boolean;
}

/** Of the pixels within a square, those that have a peak of the near surface, whatever their label. */
function seenAround(
  { scene, labels }: Labelled,
  x: number,
  y: number,
  near: Candidate,
  reach: number,
  isBehind: (label: number) => boolean,
): Seen[] {
  const same = Math.trunc(unitsOf(sameSurface, scene.unit));
  return square(labels, x, y, reach).flatMap(([u, v]) => {
    const peaks: Candidate[] = candidatesOf(scene, u, v);
    const wide = near.n === 3 ? wideCandidate(scene, u, v) : undefined;
    if (wide) peaks.push(wide);
    const shown = peaks.find(({ depthIndex }) => Math.abs(depthIndex - near.depthIndex) < same);
    return shown ? [{ tone: shown.tone, isBehind: isBehind(at(labels, u, v)) }] : [];
  });
}

/** See `clearShare` of assembly/decide.ts: by deviations from the ground, where the kernel sums moments. */
function clearShareTwin(own: number, around: number, seen: readonly Seen[]): number {
  const tones = seen.map(({ tone }) => tone);
  const behind = seen.filter(({ isBehind }) => isBehind).map(({ tone }) => tone);
  const ground = meanOf(behind.length > 0 ? behind : tones);
  const texture = behind.length > 0 ? meanOf(behind.map((tone) => (tone - ground) ** 2)) : 0;
  const weight = sumOf(tones.map((tone) => (tone - ground) ** 2));
  if (weight < tones.length) return 0;
  const contrast = sumOf(tones.map((tone) => (tone - ground) ** 3)) / weight;
  if (Math.abs(contrast) < 0.5) return 0;
  const within = (value: number, low: number, high: number) => Math.max(low, Math.min(high, value));
  const clarity = Math.abs(contrast) / Math.sqrt(texture + toneNoise ** 2);
  const alike = within(2 - (4 * (around - ground)) / contrast, 0, 1);
  return (within((own - ground) / contrast, -0.5, 1.5) - 0.5) * clarity * alike;
}

export interface Decision {
  /** Stored depth index. */
  decided: number;
  /** Logarithm of the odds for the near surface; infinite where there was nothing to decide. */
  odds: number;
  /** What tones say for it, where it is the pixel's, in steps, not rounded; 0 elsewhere. */
  ofTone: number;
}

/** The depth index that a pixel belongs to, and how clear the decision was. */
export function decideTwin(given: Labelled, x: number, y: number): Decision {
  const { scene, supports, labels, nearSign } = given;
  const label = at(labels, x, y);
  const stands = { decided: label, odds: Number.POSITIVE_INFINITY, ofTone: 0 };
  const same = Math.trunc(unitsOf(sameSurface, scene.unit));
  const disc = around(labels, x, y, reachPx).filter((pixel) => (pixel.y - y) % discRows === 0);
  const known = disc.map((pixel) => pixel.label);
  if (nearSign === 0 || Math.max(...known) - Math.min(...known) <= same) return stands;

  const own = supportsAt(supports, x, y);
  const candidates = candidatesOf(scene, x, y).filter(({ n }) => own[n] > 0);
  if (candidates.length === 0) return stands;
  const isNamed = (depthIndex: number, reach: number) =>
    square(labels, x, y, reach).some(([u, v]) => Math.abs(at(labels, u, v) - depthIndex) < same);
  const isBehindOf = (depthIndex: number) => (other: number) =>
    other === 0 || (other - depthIndex) * nearSign > same;
  const isSure = candidates.some(({ n }) => own[n] >= sureSupport);
  const area = square(labels, x, y, tonesReach).length / (2 * tonesReach + 1) ** 2;
  const fronts = candidates
    .filter(({ depthIndex }) => isSure || isNamed(depthIndex, frontReach))
    .map((candidate) => ({
      near: candidate,
      support: own[candidate.n],
      seen: seenAround(given, x, y, candidate, tonesReach, isBehindOf(candidate.depthIndex)),
    }))
    .filter(({ seen }) => seen.length >= windowPixels * area - 1e-9);
  const wide = wideCandidate(scene, x, y);
  if (
    wide &&
    wide.support > 0 &&
    label !== 0 &&
    (label - wide.depthIndex) * nearSign >= same &&
    isNamed(wide.depthIndex, reachPx)
  ) {
    const seen = seenAround(given, x, y, wide, reachPx, isBehindOf(wide.depthIndex));
    fronts.push({ near: wide, support: wide.support, seen });
  }
  // Of two at one depth index the one of the finer level.
  const [front] = fronts.toSorted(
    (first, second) => (first.near.depthIndex - second.near.depthIndex) * nearSign,
  );
  if (!front) return stands;
  const { near, seen } = front;

  const isBehind = isBehindOf(near.depthIndex);
  const behind = disc.filter((pixel) => isBehind(pixel.label));
  if (behind.length === 0) return stands;
  const mean = meanOf(
    behind.map((pixel) => {
      const [fine, , coarse] = candidatesOf(scene, pixel.x, pixel.y);
      return (coarse ?? fine).tone;
    }),
  );
  const others = candidates.filter(({ n }) => n !== near.n);
  const nearSupport = others
    .filter(({ depthIndex }) => Math.abs(depthIndex - near.depthIndex) < same)
    .reduce((sum, { n }) => sum + own[n], front.support);
  const [back] = others
    .filter(({ depthIndex }) => (depthIndex - near.depthIndex) * nearSign > same)
    .toSorted((first, second) => own[second.n] - own[first.n]);
  const ofTone =
    seen.length === 0 ? 0 : (alphaOdds * clearShareTwin(near.tone, mean, seen) * behind.length) / discPixels;
  const odds = Math.log((nearSupport + 1) / ((back ? own[back.n] : 0) + 1)) + ofTone;
  if (odds > 0) {
    const decided = Math.abs(label - near.depthIndex) < same ? label : near.depthIndex;
    const steps = Math.max(-maxToneOdds, Math.min(maxToneOdds, supportSteps * ofTone));
    return { decided, odds, ofTone: steps };
  }
  // Of what lies behind at the least distance that which is known, and the nearest to the front.
  const [told] = disc
    .filter((pixel) => isBehind(pixel.label))
    .toSorted(
      (first, second) =>
        first.away - second.away ||
        Number(first.label === 0) - Number(second.label === 0) ||
        (first.label - second.label) * nearSign,
    );
  const depthIndex = back?.depthIndex ?? told.label;
  const isLabelBehind =
    label !== 0 && Math.abs(label - depthIndex) <= same && (label - near.depthIndex) * nearSign > same;
  return { decided: isLabelBehind ? label : depthIndex, odds, ofTone: 0 };
}

/** Frames of a stored depth index of six fraction bits. */
const placeOf = (stored: number) => stored / 64 - 4;

export interface Decided {
  /** Frames; undefined: none. */
  depthIndex: number | undefined;
  /** 1/unit^2. */
  weight: number;
  mark: 'none' | 'gap' | 'truncated' | 'leaked';
  /** 0 to 255, not rounded. */
  certainty: number;
}

/** What is known of the depth index that a pixel belongs to. ofTone: what tones say for it, in steps. */
export function refineTwin(
  { scene, supports }: Labelled,
  { decided, ofTone }: Pick<Decision, 'decided' | 'ofTone'>,
  x: number,
  y: number,
): Decided {
  const nothing: Decided = { depthIndex: undefined, weight: 0, mark: 'none', certainty: 0 };
  if (decided === 0) return nothing;
  const { states, unit } = scene;
  const agreeing = states
    .map(({ best, before, after }, level) => ({
      level,
      octaves: at(best, x >> level, y >> level) / 512,
      depthIndex: placeOf(at(before, x >> level, y >> level)),
      weight: (at(after, x >> level, y >> level) & 0x3fff) / 64,
      isBeside: isLeak(at(after, x >> level, y >> level)),
      isMarked: at(after, x >> level, y >> level) >= 0x8000,
    }))
    .filter(({ octaves, depthIndex }) => {
      const isNear = Math.abs(depthIndex - placeOf(decided)) < unitsOf(refinedWithin, unit) / 64;
      return octaves >= leastSupport && isNear;
    });
  const [first] = agreeing;
  if (first && first.weight === 0) return { ...nothing, mark: 'truncated' };

  const candidates = candidatesOf(scene, x, y);
  const own = supportsAt(supports, x, y);
  const same = Math.trunc(unitsOf(sameSurface, unit));
  const isAlike = ({ depthIndex }: { depthIndex: number }) => Math.abs(depthIndex - decided) < same;
  let depthIndex = placeOf(decided);
  // A second peak, or what the neighbours tell.
  let weight = wholeFrameWeight;
  if (first) {
    // Far beyond an end, without fine detail, a depth index is at least a frame beyond.
    const isBeyond = first.level > 1 && (first.depthIndex < 1 || first.depthIndex > lastFrame);
    const beyond =
      first.depthIndex < 1 ? Math.min(first.depthIndex, 0) : Math.max(first.depthIndex, lastFrame + 1);
    const shares = agreeing.map((peak, i) => ({
      share: peak.weight * (i === 0 ? 1 : coarserSay),
      depthIndex: i === 0 && isBeyond ? beyond : peak.depthIndex,
    }));
    weight = shares.reduce((sum, { share }) => sum + share, 0);
    depthIndex = shares.reduce((sum, { share, depthIndex: there }) => sum + share * there, 0) / weight;
  }

  const support = (which: typeof candidates) => which.map(({ n }) => own[n] / supportSteps);
  let ofOwn = support(candidates.filter(isAlike)).reduce((sum, octaves) => sum + octaves, 0);
  // What level 1 shows of something beside is no support: that of level 0's own peaks is left.
  if (agreeing.some(({ level, isBeside }) => level === 1 && isBeside)) {
    const [fine] = states;
    const rises = [at(fine.best, x, y), at(fine.second, x, y)];
    const fineOwn = candidates.filter((other) => other.n < 2 && own[other.n] > 0 && isAlike(other));
    ofOwn = Math.min(ofOwn, Math.max(0, ...fineOwn.map(({ n }) => supportOf(rises[n]))));
  }
  const ofOther = Math.max(0, ...support(candidates.filter((other) => !isAlike(other))));
  const coarse = first && first.level > 1 && !first.isBeside ? first.octaves - leastSupport : 0;
  const isLeaked =
    agreeing.some(({ isBeside }) => isBeside) && supportSteps * ofOwn < sureSupport && coarse === 0;
  return {
    depthIndex,
    weight,
    mark: first?.isMarked ? 'gap' : isLeaked ? 'leaked' : 'none',
    certainty: 255 * certaintyTwin(Math.max(ofOwn, coarse), ofOther, ofTone / supportSteps),
  };
}

/** Probability that the depth index is right, from the supports of its candidate and of the next, octaves, and the odds of its tone. */
function certaintyTwin(own: number, other: number, ofTone: number): number {
  const [support, next] = [own, other].map((octaves) => Math.log(octaves + certaintyFloor));
  const odds = certaintyOdds + certaintyOfSupport * support + certaintyOfLead * (support - next + ofTone);
  return 1 / (1 + Math.exp(-odds));
}

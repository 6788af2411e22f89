import { at, type Plane } from './kernel-rig.js';
import {
  type Candidate,
  candidatesOf,
  type Labels,
  lastFrame,
  type Scene,
  supportsAt,
} from './label-scene.js';
import { unitsOf } from './label-twin.js';
import { tuned } from './tuned.js';

// Plain twins of decideStrip: one pixel at a time, by its docstrings.

const leastSupport = tuned('minPeakOctaves');
const mostSupport = tuned('maxSupport');
const supportSteps = tuned('supportSteps');
const sameSurface = tuned('sameUnits');
const frontReach = tuned('windowRadius');
const reachPx = tuned('backRadius');
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

/** What is decided between: the scene with its supports, labels and tones, and which end of the stack is near. */
export interface Labelled extends Labels {
  scene: Scene;
  supports: Plane;
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

/** Labels of the picture within a square about a pixel. */
function square(labels: Plane, x: number, y: number, reach: number): number[] {
  const found: number[] = [];
  for (let v = Math.max(0, y - reach); v <= Math.min(labels.height - 1, y + reach); v++) {
    for (let u = Math.max(0, x - reach); u <= Math.min(labels.width - 1, x + reach); u++)
      found.push(at(labels, u, v));
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

/** The best peak of level 2, where it has support and is the pixel's own. */
function wideCandidate(
  { states }: Scene,
  x: number,
  y: number,
): (Candidate & { support: number }) | undefined {
  const [fine, , wide] = states;
  if (!wide || isLeak(at(wide.after, x >> 2, y >> 2))) return undefined;
  const support = supportSteps * supportOf(at(wide.best, x >> 2, y >> 2));
  if (support === 0) return undefined;
  return {
    n: 3,
    depthIndex: at(wide.before, x >> 2, y >> 2),
    tone: at(fine.coarseTones, x, y) >> 8,
    support,
  };
}

/** Tone of a pixel in the frame in which what was decided is sharp; 0 where it is not known which end is near. */
export function toneTwin(
  { scene, supports, labels, tones, nearSign }: Labelled,
  decided: number,
  x: number,
  y: number,
): number {
  if (nearSign === 0) return 0;
  const ofLabel = at(tones, x, y) & 255;
  if (decided === at(labels, x, y)) return ofLabel;
  const own = supportsAt(supports, x, y);
  const same = Math.trunc(unitsOf(sameSurface, scene.unit));
  const shown = candidatesOf(scene, x, y).find(
    ({ n, depthIndex }) => own[n] > 0 && Math.abs(depthIndex - decided) < same,
  );
  return shown?.tone ?? ofLabel;
}

/**
 * The depth index that a pixel belongs to, stored, and how clear the decision was: the logarithm of the odds for the near
 * surface, infinite where there was none.
 */
export function decideTwin(given: Labelled, x: number, y: number): { decided: number; odds: number } {
  const { scene, supports, labels, tones, nearSign } = given;
  const label = at(labels, x, y);
  const stands = { decided: label, odds: Number.POSITIVE_INFINITY };
  const same = Math.trunc(unitsOf(sameSurface, scene.unit));
  const disc = around(labels, x, y, reachPx).filter((pixel) => (pixel.y - y) % discRows === 0);
  const known = disc.map((pixel) => pixel.label);
  if (nearSign === 0 || Math.max(...known) - Math.min(...known) <= same) return stands;

  const own = supportsAt(supports, x, y);
  const candidates = candidatesOf(scene, x, y).filter(({ n }) => own[n] > 0);
  if (candidates.length === 0) return stands;
  const isNamed = (depthIndex: number, reach: number) =>
    square(labels, x, y, reach).some((other) => Math.abs(other - depthIndex) < same);
  const named = candidates.filter(({ depthIndex }) => isNamed(depthIndex, frontReach));
  const wide = wideCandidate(scene, x, y);
  if (
    wide &&
    label !== 0 &&
    (label - wide.depthIndex) * nearSign >= same &&
    isNamed(wide.depthIndex, reachPx)
  )
    named.push(wide);
  // Of two at one depth index the one of the finer level.
  const [near] = named.toSorted((first, second) => (first.depthIndex - second.depthIndex) * nearSign);
  if (!near) return stands;

  const isBehind = (other: number) => other === 0 || (other - near.depthIndex) * nearSign > same;
  const behind = disc.filter((pixel) => isBehind(pixel.label));
  if (behind.length === 0) return stands;
  const tonesBehind = behind.map((pixel) => at(tones, pixel.x, pixel.y) >> 8);
  const mean = tonesBehind.reduce((sum, tone) => sum + tone, 0) / behind.length;
  const texture = tonesBehind.reduce((sum, tone) => sum + (tone - mean) ** 2, 0) / behind.length;
  const tonesNear = disc
    .filter((pixel) => Math.abs(pixel.label - near.depthIndex) < same)
    .map((pixel) => at(tones, pixel.x, pixel.y) & 255);
  const [above, below] = [Math.max(...tonesNear) - mean, mean - Math.min(...tonesNear)];
  const contrast = tonesNear.length === 0 ? 0 : above > below ? above : -below;

  const others = candidates.filter((other) => other !== near);
  const nearSupport = others
    .filter(({ depthIndex }) => Math.abs(depthIndex - near.depthIndex) < same)
    .reduce((sum, { n }) => sum + own[n], near === wide ? wide.support : own[near.n]);
  const [back] = others
    .filter(({ depthIndex }) => (depthIndex - near.depthIndex) * nearSign > same)
    .toSorted((first, second) => own[second.n] - own[first.n]);
  let odds = Math.log((nearSupport + 1) / ((back ? own[back.n] : 0) + 1));
  if (contrast !== 0) {
    const alpha = Math.max(-0.5, Math.min(1.5, (near.tone - mean) / contrast));
    const clarity = Math.abs(contrast) / Math.sqrt(texture + toneNoise ** 2);
    odds += (alphaOdds * (alpha - 0.5) * clarity * behind.length) / discPixels;
  }
  if (odds > 0) return { decided: Math.abs(label - near.depthIndex) < same ? label : near.depthIndex, odds };
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
  return { decided: isLabelBehind ? label : depthIndex, odds };
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

/** What is known of the depth index that a pixel belongs to. */
export function refineTwin({ scene, supports }: Labelled, decided: number, x: number, y: number): Decided {
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
    certainty: 255 * certaintyTwin(Math.max(ofOwn, coarse), ofOther),
  };
}

/** Probability that the depth index is right, from the supports of its candidate and of the next, octaves. */
function certaintyTwin(own: number, other: number): number {
  const [support, next] = [own, other].map((octaves) => Math.log(octaves + certaintyFloor));
  const odds = certaintyOdds + certaintyOfSupport * support + certaintyOfLead * (support - next);
  return 1 / (1 + Math.exp(-odds));
}

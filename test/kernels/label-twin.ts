import { at, type Plane } from './kernel-rig.js';
import { candidatesOf, type Scene, supportsAt } from './label-scene.js';
import { tuned } from './tuned.js';

// Plain twins of gatherStrip, aggregateStrip and labelStrip: one pixel at a time, by their docstrings.

const leastSupport = tuned('minPeakOctaves');
const mostSupport = tuned('maxSupport');
const supportSteps = tuned('supportSteps');
const samePeak = tuned('apartUnits');
const contestedShare = Math.fround(tuned('contestedShare'));
const droppedPercent = tuned('droppedPercent');
const sureSupport = tuned('sureSupport');
const supportReach = tuned('supportReach');
const toneNoise = tuned('toneNoise');
const tonePart = tuned('tonePart');
const leastRise = tuned('minPeakOctaves');
const aroundReach = tuned('aroundRadius');
const fewestAround = tuned('minAround');

/** A length in units as kernels have it, in stored units of a depth index of six fraction bits. */
export const unitsOf = (length: number, unit: number) =>
  64 * Math.fround(Math.fround(length) * Math.fround(unit));

/** Octaves of a rise in code steps. */
const octavesOf = (rise: number) => rise / 512;

export function gatherTwin(scene: Scene, x: number, y: number) {
  const octaves = scene.states
    .slice(0, 2)
    .flatMap(({ best, second }, level) =>
      [best, second].map((plane) => octavesOf(at(plane, x >> level, y >> level)) - leastSupport),
    );
  const ofPeaks = [0, 0, 0, 0].map((_, n) =>
    Math.floor(supportSteps * Math.max(0, Math.min(mostSupport, octaves[n] ?? 0))),
  );
  const joined = ofPeaks.slice(0, 3);
  const [, coarse] = scene.states;
  const depthIndices = candidatesOf(scene, x, y).map(({ depthIndex }) => depthIndex);
  if (coarse) depthIndices.push(at(coarse.secondOrdinal, x >> 1, y >> 1));
  const same = Math.trunc(unitsOf(samePeak, scene.unit));
  // What both levels show is one candidate, that of level 0; a second peak of level 1 is none of its own.
  for (const n of [2, 3]) {
    const alike = [0, 1].find(
      (fine) => ofPeaks[fine] > 0 && Math.abs(depthIndices[n] - depthIndices[fine]) < same,
    );
    if (ofPeaks[n] === 0 || alike === undefined) continue;
    joined[alike] = Math.min(127, joined[alike] + ofPeaks[n]);
    if (n === 2) joined[n] = 0;
  }
  const dropped = Math.floor((Math.max(...joined) * droppedPercent) / 100);
  const supports = joined.map((support) => (support < dropped ? 0 : support));
  const [top, next] = supports.toSorted((first, second) => second - first);
  const contested = next > Math.fround(contestedShare * top) || (top > 0 && top < sureSupport);
  return { supports, contested };
}

/** How much two depth indices are one: 1 at no distance, 0 from `reach` on. */
const likeness = (distance: number, reach: number) => Math.max(0, 1 - (distance / reach) ** 2) ** 2;

/** Support of each candidate of a pixel, averaged over the pixels around that look like it; not rounded. */
export function aggregateTwin(scene: Scene, supports: Plane, hole: number, x: number, y: number): number[] {
  const taps = [1, 2, 1].map((tap) => tap / 4);
  const reach = unitsOf(supportReach, scene.unit);
  const own = supportsAt(supports, x, y);
  const averaged = [0, 0, 0];
  for (const { n, depthIndex, tone } of candidatesOf(scene, x, y)) {
    if (own[n] === 0) continue;
    const seen: { tap: number; support: number; apart: number }[] = [];
    for (let j = -1; j <= 1; j++) {
      for (let i = -1; i <= 1; i++) {
        const [u, v] = [x + i * hole, y + j * hole];
        if (u < 0 || v < 0 || u >= scene.width || v >= scene.height) continue;
        const there = supportsAt(supports, u, v);
        const others = candidatesOf(scene, u, v);
        const alike = others.map((other) =>
          there[other.n] > 0 ? likeness(other.depthIndex - depthIndex, reach) : 0,
        );
        const most = Math.max(...alike);
        // Its tone where it shows this depth index; otherwise that of the best peak at the coarser level.
        const shown = most > 0 ? others[alike.indexOf(most)] : (others[2] ?? others[0]);
        const support = others.reduce((sum, other, k) => sum + alike[k] * there[other.n], 0);
        seen.push({ tap: taps[i + 1] * taps[j + 1], support, apart: shown.tone - tone });
      }
    }
    const sum = seen.reduce((all, { tap }) => all + tap, 0);
    const mean = seen.reduce((all, { tap, apart }) => all + tap * apart, 0) / sum;
    const square = seen.reduce((all, { tap, apart }) => all + tap * apart ** 2, 0) / sum;
    const farthest = Math.sqrt(toneNoise ** 2 + tonePart ** 2 * Math.max(0, square - mean ** 2));
    const weights = seen.map(({ tap, apart }) => tap * likeness(apart, farthest));
    const total = seen.reduce((all, { support }, k) => all + weights[k] * support, 0);
    averaged[n] = Math.max(1, Math.min(127, total / weights.reduce((all, weight) => all + weight, 0)));
  }
  return averaged;
}

/** Whether a pixel of a level has a peak this high within reach of a depth index; all of it stored. */
function hasPeak(
  scene: Scene,
  level: number,
  u: number,
  v: number,
  rise: number,
  depthIndex: number,
): boolean {
  const { best, before } = scene.states[level];
  const isNear = Math.abs(at(before, u, v) - depthIndex) <= unitsOf(samePeak, scene.unit);
  return octavesOf(at(best, u, v)) >= Math.fround(rise) && isNear;
}

/** Pixels of a level within `reach` of level 0's pixel that have a peak this high near a depth index. */
function peaksAround(
  scene: Scene,
  level: number,
  x: number,
  y: number,
  reach: number,
  rise: number,
  depthIndex: number,
) {
  const { width, height } = scene.states[level].best;
  let found = 0;
  for (let v = Math.max(0, (y >> level) - reach); v <= Math.min(height - 1, (y >> level) + reach); v++) {
    for (let u = Math.max(0, (x >> level) - reach); u <= Math.min(width - 1, (x >> level) + reach); u++) {
      if (hasPeak(scene, level, u, v, rise, depthIndex)) found++;
    }
  }
  return found;
}

/** Stored depth index of the candidate of the most support, or what a coarser level shows, 0 = nothing. */
export function labelTwin(scene: Scene, supports: Plane, x: number, y: number): number {
  const own = supportsAt(supports, x, y);
  const candidates = candidatesOf(scene, x, y);
  const most = Math.max(...candidates.map(({ n }) => own[n]));
  const best = most >= sureSupport ? candidates.find(({ n }) => own[n] === most) : undefined;
  return best?.depthIndex ?? coarsePlace(scene, x, y);
}

/** Stored depth index that the first of the coarser levels shows whose peak the pixels around share; 0 = none. */
function coarsePlace(scene: Scene, x: number, y: number): number {
  for (let level = 2; level < scene.states.length; level++) {
    const { best, before, after } = scene.states[level];
    const [u, v] = [x >> level, y >> level];
    if (at(after, u, v) === 0 || octavesOf(at(best, u, v)) < leastRise) continue;
    const depthIndex = at(before, u, v);
    if (peaksAround(scene, level, x, y, aroundReach, leastRise, depthIndex) < fewestAround) continue;
    return depthIndex;
  }
  return 0;
}

import type { CurveBends, CurveLevel } from '../focus/focus-curves.js';
import { windowRadius } from '../model/constants/focus.js';
import { sameUnits } from '../model/constants/model.js';
import {
  aggregateHoles,
  edgeReach,
  fineLevel,
  fullWeight,
  leakRadius,
  ringRadius,
  shareRadius,
  smoothHoles,
} from '../model/constants/surface.js';
import { fractionBitsFor, storedLength } from '../surface/depth-index.js';
import { leastDetail } from '../surface/least-detail.js';
import {
  doubled,
  enlargedTolerance,
  type FrameBounds,
  fallOfGap,
  longStepReach,
  measuredMargin,
  reachTable,
  relativeErrors,
  type SurfaceMaps,
  stepReaches,
  stepTable,
} from '../surface/surface.js';
import type { Gpu } from './device.js';
import { dropFalseRims, dropFineRims, dropUnder, finerBy } from './false-rims.js';
import { takeSpans } from './frame-spans.js';
import {
  averageSupports,
  decideSurface,
  gatherSupports,
  labelPixels,
  type SurfaceSetting,
  storedUnits,
} from './label-surface.js';
import { noRows } from './plan.js';
import { coarserRows, finerRows, type GpuPlanes, sameRows, wordsOf } from './planes.js';

/** The surface in the device's memory: see `Surface` in surface/surface.ts. */
export interface GpuSurface {
  /** A word a pixel: the stored depth index in the low, its weight in the high half. */
  surface: GpuPlanes;
  /** The same at the level at which it was found, and which that is. */
  found: GpuPlanes;
  finest: CurveLevel;
  /** Depth indices of the map, 16 bits, see `Surface`. */
  mapIndices: GpuPlanes;
  /**
   * The focus state of each level that is followed or of which the sharpest frames are known, finest first, which has served:
   * planes 0 rise and 1 depth index of the peak, 6 ordinal of the best frame, 8 the ordinal of something thin before the rest;
   * of the level of `found` also 9 gaps and 10 certainty.
   */
  peaks: readonly GpuPlanes[];
  reaches: readonly number[];
  detailShare: number;
  unit: number;
  fractionBits: number;
}

/**
 * The surface from focus curves that were followed on the device, as `findSurface` of surface/surface.ts. Throws GpuError.
 *
 * @param state Of the curves, each level, finest first; it is overwritten.
 * @param curves What was asked of them.
 * @param picks State of level 0 where the curves begin at level 1.
 */
export async function findGpuSurface(
  gpu: Gpu,
  state: readonly GpuPlanes[],
  curves: CurveBends,
  bounds: FrameBounds,
  nearSign: -1 | 0 | 1,
  steps: readonly number[],
  blurPx: number | undefined,
  unit: number,
  picks?: GpuPlanes,
): Promise<GpuSurface> {
  const frames = bounds.toFrame.length;
  const fractionBits = fractionBitsFor(frames);
  const setting = { frames, nearSign, unit, fractionBits };
  const [full] = state;
  findPeaks(gpu, state, curves, bounds, steps, blurPx, setting);
  markLeaks(gpu, state, setting);

  // A word a pixel each: supports and labels, then depth indices with their weights.
  let [from, to] = [0, 1].map(() => gpu.takePlanes(full.width, full.height, 1, 4));
  const known = gpu.takeTable(4);
  gatherSupports(gpu, state, from, setting);
  for (const hole of aggregateHoles) {
    averageSupports(gpu, state, from, to, hole, setting);
    [from, to] = [to, from];
  }
  labelPixels(gpu, state, from, to, setting);
  decideSurface(gpu, state, to, from, known, setting);
  for (const hole of smoothHoles) {
    gpu.run(
      'smooth',
      { hole, strictness: 1 / (sameUnits * unit * 2 ** fractionBits) ** 2 },
      { surface: { set: from, rows: sameRows(hole) }, smoothed: to },
      full,
    );
    [from, to] = [to, from];
  }
  fillUnknown(gpu, from);
  const count = new Uint32Array(1);
  await gpu.readTable(known, new Uint8Array(count.buffer));
  const surface = picks ? enlarge(gpu, from, picks, setting) : from;
  const mapIndices = gpu.takePlanes(surface.width, surface.height, 1, 2);
  const pairs = { width: wordsOf(surface.width), height: surface.height };
  const same = storedLength(sameUnits * unit, fractionBits);
  const ownPairs = { width: wordsOf(full.width), height: full.height };
  gpu.run(
    'markDepthEdges',
    { nearSign, same, leastEnergy: leastDetail(curves) },
    { surface: { set: from, rows: sameRows(edgeReach) }, state: { set: full, rows: sameRows(1) }, marks: to },
    ownPairs,
  );
  const hasMap = nearSign !== 0 && !picks;
  if (hasMap) {
    gpu.run(
      'mapDepth',
      { nearSign, same },
      { marks: { set: to, rows: sameRows(shareRadius) }, state: full, indices: mapIndices },
      pairs,
    );
  } else gpu.run('storeIndices', {}, { surface, indices: mapIndices }, pairs);
  const ownIndices = picks ? gpu.takePlanes(full.width, full.height, 1, 2) : mapIndices;
  if (picks) gpu.run('storeIndices', {}, { surface: from, indices: ownIndices }, ownPairs);
  const around = sameRows(ringRadius);
  gpu.run(
    'halveOneSided',
    { same },
    { indices: { set: ownIndices, rows: around }, marks: { set: to, rows: around }, state: full },
    ownPairs,
  );
  if (picks) gpu.release(ownIndices);
  gpu.release(to, known);
  return {
    surface,
    found: from,
    finest: curves.finest,
    mapIndices,
    peaks: picks ? [picks, ...state] : state,
    reaches: stepReaches(steps, longStepReach(curves, steps)),
    detailShare: count[0] / (full.width * full.height),
    unit,
    fractionBits,
  };
}

/** Peaks of all levels, coarsest first, and those taken out that are the blur of strong edges. */
function findPeaks(
  gpu: Gpu,
  state: readonly GpuPlanes[],
  curves: CurveBends,
  { toFrame, frame }: FrameBounds,
  steps: readonly number[],
  blurPx: number | undefined,
  { frames, nearSign, unit, fractionBits }: SurfaceSetting,
): void {
  const [full] = state;
  const errors = gpu.takeTable(relativeErrors());
  const distances = gpu.takeTable(Float32Array.from(stepTable(steps)));
  const { finest } = curves;
  const rims = blurPx === undefined ? undefined : { frames, blurPx: blurPx / 2 ** finest, fractionBits };
  let marks: GpuPlanes | undefined;
  for (let level = state.length - 1; level >= 0; level--) {
    const here = state[level];
    const pairs = { width: wordsOf(here.width), height: here.height };
    const spans = takeSpans(gpu, toFrame, frame, here, level + finest, () => measuredMargin);
    const noise = gpu.takeTable(Int32Array.from(curves.noiseCodes(level)));
    gpu.run('markTruncated', { frames }, { state: here, spans }, pairs);
    gpu.run(
      'peak',
      { level, nearSign, unit, fall: fallOfGap(finest), fractionBits },
      {
        state: here,
        full: level === 0 ? { set: spans, rows: noRows } : { set: full, rows: finerBy(level) },
        noise,
        errors,
        steps: distances,
      },
      pairs,
    );
    gpu.release(spans, noise);
    if (level === fineLevel && rims) marks = dropFalseRims(gpu, state, rims);
    if (marks) dropUnder(gpu, here, marks, fineLevel + 1 - level, fractionBits);
  }
  if (rims && state.length > fineLevel) dropFineRims(gpu, state, rims);
  gpu.release(errors, distances, ...(marks ? [marks] : []));
}

/** Marks the peaks of coarse levels that are the detail of something beside: see wgsl/markLeaks.wgsl. */
function markLeaks(gpu: Gpu, state: readonly GpuPlanes[], setting: SurfaceSetting): void {
  const same = storedUnits(sameUnits, setting);
  for (let level = 1; level < state.length; level++) {
    const peaks = state[level];
    gpu.run(
      'markLeaks',
      { same },
      { peaks, fine: { set: state[level - 1], rows: finerRows(2 * leakRadius) } },
      { width: wordsOf(peaks.width), height: peaks.height },
    );
  }
}

/** Gives every pixel a depth index: pushed to ever coarser maps, then pulled back; in place. */
function fillUnknown(gpu: Gpu, finest: GpuPlanes): void {
  const maps = [finest];
  for (let { width, height } = finest; Math.max(width, height) > 1; ) {
    [width, height] = [(width + 1) >> 1, (height + 1) >> 1];
    maps.push(gpu.takePlanes(width, height, 1, 4));
  }
  const weightOf = (level: number) => (level === 0 ? fullWeight : 0);
  for (let level = 0; level + 1 < maps.length; level++) {
    const coarse = maps[level + 1];
    const fine = { set: maps[level], rows: finerRows() };
    gpu.run('push', { fullWeight: weightOf(level) }, { fine, coarse }, coarse);
  }
  for (let level = maps.length - 2; level >= 0; level--) {
    const coarse = { set: maps[level + 1], rows: coarserRows(1) };
    gpu.run('pull', { fullWeight: weightOf(level) }, { fine: maps[level], coarse }, maps[level]);
  }
  gpu.release(...maps.slice(1));
}

/** The surface of level 0 from that of level 1: see wgsl/enlarge.wgsl. */
function enlarge(gpu: Gpu, coarse: GpuPlanes, picks: GpuPlanes, setting: SurfaceSetting): GpuPlanes {
  const { unit, fractionBits } = setting;
  const surface = gpu.takePlanes(picks.width, picks.height, 1, 4);
  gpu.run(
    'enlarge',
    { same: enlargedTolerance(unit, fractionBits), fractionBits },
    { coarse: { set: coarse, rows: coarserRows(1) }, picks, surface },
    surface,
  );
  return surface;
}

/**
 * What the result folder says of the surface: `readSurface` of surface/surface.ts. All work on it is noted at once; what is
 * made of it is read later, and needs nothing of it. Throws GpuError.
 *
 * @param to Memory of the maps; default: of this thread.
 */
export async function readGpuSurface(
  gpu: Gpu,
  { surface, found, finest, mapIndices, peaks, reaches, fractionBits }: GpuSurface,
  { toFrame, frame }: FrameBounds,
  to: Pick<SurfaceMaps, 'depthIndices' | 'confidence' | 'coverage'> = {
    depthIndices: new Uint16Array(surface.width * surface.height),
    confidence: new Uint8Array(surface.width * surface.height),
    coverage: new Uint8Array(surface.width * surface.height),
  },
): Promise<SurfaceMaps> {
  const { width, height } = found;
  const maps = [0, 1].map(() => gpu.takePlanes(width, height, 1, 1));
  const spans = takeSpans(gpu, toFrame, frame, found, finest);
  const table = gpu.takeTable(Int32Array.from(reachTable(reaches)));
  gpu.run(
    'judge',
    { frames: toFrame.length, fullWeight, fractionBits },
    {
      state: { set: peaks[finest], rows: sameRows(windowRadius) },
      surface: { set: found, rows: sameRows(windowRadius) },
      spans,
      confidence: maps[0],
      coverage: maps[1],
      reaches: table,
    },
    { width: Math.ceil(width / 4), height },
  );
  gpu.release(spans, table);
  await gpu.readPlane(mapIndices, 0, bytesOf(to.depthIndices), 2 * surface.width);
  gpu.release(mapIndices);
  for (const [i, whole] of [to.confidence, to.coverage].entries()) {
    const judged = finest === 0 ? whole : new Uint8Array(width * height);
    await gpu.readPlane(maps[i], 0, judged, width);
    if (finest > 0) doubled(judged, surface, () => whole);
  }
  gpu.release(...maps);
  return { ...to, fractionBits };
}

function bytesOf({ buffer, byteOffset, byteLength }: Uint16Array): Uint8Array {
  return new Uint8Array(buffer, byteOffset, byteLength);
}

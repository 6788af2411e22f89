import type { FocusTracker } from '../focus/focus-tracker.js';
import { findPeaks, type PeakMaps, takePeakMaps } from './peaks.js';
import { fillUnknown, smoothPass, takeMap, type WeightedMap } from './smooth.js';

/** The shape of the subject as one function of the pixel; all maps have shape (rows, cols) of the composite. */
export interface Surface {
  /** Where along the stack the pixel is sharp, in frame ordinals, fractional. */
  place: Float32Array;
  /** 0 to 1: how much the focus curve stands out from noise and from rival peaks. */
  confidence: Float32Array;
  /** Index into the coverage classes of the result folder. */
  coverage: Uint8Array;
  /** Peaks of each followed level, finest first. */
  peaks: PeakMaps[];
  /** Share of pixels with any detail above noise. */
  detailShare: number;
}

/** A level speaks for a pixel when its peak stands this far above noise, octaves of energy. */
const leastRise = 1;
/** A coarser level refines a finer one's place only where both mean the same surface, frames. */
const sameSurface = 1.2;
/** A coarser level's window is wider than what it refines: its say is halved. */
const coarserSay = 0.5;
/** Passes of the smoothing: holes between its taps, pixels, and tolerance, frames. */
const smoothSteps = [1, 1, 2, 4];
const smoothTolerance = 1.2;
/** Weight (1/frame^2) from which a smoothed place stands on its own. */
const fullWeight = 5;

/**
 * The surface from the focus curves that `tracker` followed over `frames` frames.
 *
 * @param nearSign 1 when nearer means a lower ordinal, -1 when higher, 0 when unknown.
 */
export function findSurface(tracker: FocusTracker, frames: number, nearSign: -1 | 0 | 1): Surface {
  const { width, height } = tracker.state[0];
  const peaks: PeakMaps[] = [];
  for (let level = tracker.state.length - 1; level >= 0; level--) {
    const state = tracker.state[level];
    const maps = takePeakMaps(state.width, state.height);
    findPeaks(tracker, level, tracker.noiseCodes(level), level === 0 ? peaks : [], nearSign, maps);
    peaks.unshift(maps);
  }
  let map = combineLevels(peaks, width, height);
  let spare = takeMap(width, height);
  let known = 0;
  for (const weight of map.weight) if (weight > 0) known++;
  for (const step of smoothSteps) {
    smoothPass(map, spare, step, smoothTolerance);
    [map, spare] = [spare, map];
  }
  for (let i = 0; i < map.weight.length; i++) map.weight[i] /= fullWeight;
  const place = fillUnknown(map);
  const confidence = map.weight.map((weight) => Math.min(1, weight));
  return {
    place,
    confidence,
    coverage: classify(peaks, place, confidence, width, frames),
    peaks,
    detailShare: known / map.weight.length,
  };
}

/** Finest level that stands out of the noise, refined by the coarser ones that agree with it. */
function combineLevels(peaks: readonly PeakMaps[], width: number, height: number): WeightedMap {
  const map = takeMap(width, height);
  const last = peaks.length - 1;
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      let sum = 0;
      let sumPlace = 0;
      let base = 0;
      for (let level = 0; level <= last; level++) {
        const maps = peaks[level];
        const o = (y >> level) * maps.width + (x >> level);
        const weight = maps.weight[o];
        if (weight <= 0) continue;
        if (sum === 0) {
          if (maps.rise[o] < leastRise && level < last) continue;
          base = maps.place[o];
          sum = weight;
          sumPlace = weight * base;
        } else if (Math.abs(maps.place[o] - base) < sameSurface) {
          sum += weight * coarserSay;
          sumPlace += weight * coarserSay * maps.place[o];
        }
      }
      const i = y * width + x;
      map.place[i] = sum > 0 ? sumPlace / sum : 0;
      map.weight[i] = sum;
    }
  }
  return map;
}

/** Confidence below which a place is only carried over from the neighbourhood. */
const leastConfidence = 0.05;
/** A place this far beyond the first or the last plane of focus is not reached by them, frames. */
const beyondEnds = 0.75;
/** Octaves by which a curve may fall from its interpolated peak to its best frame before a step is too coarse. */
const gapFall = 0.75;

/** Coverage class of each pixel; see `coverageClassNames` for the indices. */
function classify(
  peaks: readonly PeakMaps[],
  place: Float32Array,
  confidence: Float32Array,
  width: number,
  frames: number,
): Uint8Array {
  const coverage = new Uint8Array(place.length);
  for (let i = 0; i < place.length; i++) {
    if (confidence[i] < leastConfidence) coverage[i] = 4;
    else if (place[i] < 1 - beyondEnds) coverage[i] = 1;
    else if (place[i] > frames + beyondEnds) coverage[i] = 2;
    else {
      const x = i % width;
      const y = (i - x) / width;
      const level = peaks.findIndex((maps, l) => maps.rise[(y >> l) * maps.width + (x >> l)] >= leastRise);
      if (level < 0) continue;
      const maps = peaks[level];
      if (maps.fall[(y >> level) * maps.width + (x >> level)] > gapFall) coverage[i] = 3;
    }
  }
  return coverage;
}

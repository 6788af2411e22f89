import { codesPerOctave, type FocusTracker } from '../focus/focus-tracker.js';
import { median } from '../image/median.js';

/** Curves that stand this far over noise tell the blur; octaves. */
const clearOctaves = 2;
const leastCurves = 200;
/**
 * Bend of a focus curve at its peak in octaves, for a blur radius of one of the level's pixels a frame. The response of
 * a disc, 2 J1(x) / x with x = 2 pi f r, falls by (pi f r)^2 in energy to second order; the measure answers to about
 * f = 0.27 / px. Fitted to rendered scenes of known blur, 0.8 to 4.2 px a frame: 0.7 to
 * 1.15 of the truth.
 */
const bendOfPixel = 2 * Math.LOG2E * (Math.PI * 0.27) ** 2;
/** Bend of a curve without any, octaves: the best of noisy values stands out from its neighbours. Fitted likewise. */
const noiseBend = 0.18;
/** Bends about this large tell the blur best: noise drowns smaller ones, and larger ones leave the second order. */
const bestBend = 1.2;

/**
 * A loss up to the first is left, from the second on it is told in full: where steps are small, curves bend as much by what
 * differs from frame to frame as by blur. Set on scenes.
 */
const spareLoss = 0.15;
const sureLoss = 0.45;

/**
 * Radius of the blur, one frame away from a pixel's plane of focus, px: from how sharply focus curves bend at their
 * peaks. To be asked before the surface is made of the tracker's state. Undefined when too few curves tell.
 */
export function measureBlur(tracker: FocusTracker, frames: number): number | undefined {
  let blur: number | undefined;
  let least = Infinity;
  for (let level = 0; level < tracker.levels; level++) {
    const bend = medianBend(tracker, level, frames);
    if (bend === undefined) continue;
    const off = Math.abs(Math.log(bend / bestBend));
    if (off >= least) continue;
    least = off;
    blur = Math.sqrt((bend - noiseBend) / bendOfPixel) * 2 ** level;
  }
  return blur;
}

/**
 * Part of its contrast that detail of the finest level loses one frame away from its plane of focus, to second order:
 * from how sharply that level's own focus curves bend, whatever its detail is made of and whatever the lens does to it.
 * A curve of bend b falls by b / 2 octaves of energy in a frame, so contrast by a part of (ln 2 / 4) b. Steps too long
 * for second order are measured too small. To be asked as `measureBlur`; 0 when too few curves tell.
 */
export function measureLoss(tracker: FocusTracker, frames: number): number {
  const bend = medianBend(tracker, 0, frames);
  if (bend === undefined) return 0;
  const loss = (Math.LN2 / 4) * (bend - noiseBend);
  return loss * Math.min(1, Math.max(0, (loss - spareLoss) / (sureLoss - spareLoss)));
}

/** Median second difference of the focus curves at their peaks, octaves; undefined when too few stand out. */
function medianBend(tracker: FocusTracker, level: number, frames: number): number | undefined {
  const { width, height, stride } = tracker.state[level];
  const planes = (['best', 'before', 'after', 'bestOrdinal'] as const).map((name) =>
    tracker.plane(level, name),
  );
  const [best, before, after, ordinal] = planes;
  const floor = Math.max(...tracker.noiseCodes(level)) + clearOctaves * codesPerOctave;
  const bends: number[] = [];
  const every = Math.max(1, Math.ceil(Math.sqrt((width * height) / 200_000)));
  for (let y = 0; y < height; y += every) {
    for (let i = y * stride; i < y * stride + width; i += every) {
      if (best[i] < floor || ordinal[i] < 2 || ordinal[i] >= frames || !before[i] || !after[i]) continue;
      bends.push((2 * best[i] - before[i] - after[i]) / codesPerOctave);
    }
  }
  if (bends.length < leastCurves) return undefined;
  const bend = median(Float64Array.from(bends));
  return bend > 1.5 * noiseBend ? bend : undefined;
}

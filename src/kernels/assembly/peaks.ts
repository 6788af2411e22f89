// Peaks of the focus curves: see curve-state.ts for the planes.
import { codesPerOctave, weightUnit, gapBit, bestTruncated, secondTruncated, minLongStep, usualBend, gapFall, minPeakOctaves, minIndexError, farStep, afterPlane, beforePlane, bestOrdinalPlane, bestPlane, secondOrdinalPlane, secondPlane, truncationPlane, frontPlane, finestFrontOctaves, sureOctaves } from './constants';
import { exp2 } from './common';
import { depthIndexCode, planeOf, strideOf } from './curve-state';

/** Step from a frame to the next, in usual steps; `steps` holds one f32 by ordinal, 1 before the first and after the last. */
// @ts-ignore: decorator
@inline
function stepAfter(steps: usize, ordinal: i32): f32 {
  return load<f32>(steps + (usize(ordinal) << 2));
}

/** Octaves above noise from which the nearer of two peaks counts: noise makes peaks too, most at the finest level. */
// @ts-ignore: decorator
@inline
function minFrontOctaves(level: i32): f32 {
  return max<f32>(sureOctaves, finestFrontOctaves - f32(level));
}

/**
 * The nearer of two peaks, where it stands out: something thin before what the pixel mostly shows. rises: code steps
 * above noise. Returns its ordinal, or 0.
 */
// @ts-ignore: decorator
@inline
function frontOf(level: i32, ordinal: i32, rise: i32, rival: i32, rivalRise: i32, nearSign: i32): i32 {
  const isRival = rival > 0 && (rival - ordinal) * nearSign < 0;
  const own = f32(isRival ? rivalRise : rise) * (1 / codesPerOctave);
  if (own < minFrontOctaves(level)) return 0;
  return isRival ? rival : ordinal;
}

/**
 * Peaks of one level, rows of one strip: by parabola through the log measure of the best frame and its neighbours,
 * which is the Gaussian interpolation of Nayar & Nakagawa (PAMI 16(8), 1994), with the variance that the noise
 * gives it. The frames may lie at uneven distances: `steps`, see `stepAfter`. Where a step is long, the parabola goes
 * through measure^(-1/2), which follows a focus curve far out as well: measure ~ (1 + (distance / width)^2)^-2.
 *
 * Beside depth edges a curve has two peaks: a sharp far texture shows through the blurred rim of what is before it, and
 * the window of the measure carries the rim's own detail outward. Which of them is the pixel's own: see candidates.ts.
 *
 * noise: eight i32, codes that noise alone reaches by brightness. errors: f32 by rise in 1/16 codesPerOctave, 512 of them:
 * relative error of an energy, octaves. nearSign: 1 when nearer means a lower ordinal, -1 higher, 0 unknown. unit: the
 * step that the numbers are set for, frames; see `frameUnit` in surface/surface.ts. fractionBits: of depth indices.
 */
export function peakStrip(
  levels: usize, level: i32, width: i32, height: i32,
  tones: usize, toneStride: i32, fullWidth: i32, fullHeight: i32,
  noise: usize, errors: usize, nearSign: i32, steps: usize, unit: f32, fractionBits: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const stride = strideOf(levels, level);
  const y1 = min(height, (strip + 1) * stripRows);
  for (let y = strip * stripRows; y < y1; y++) {
    const row = (usize(y) * stride) << 1;
    const toneRow = tones + (usize(min(fullHeight - 1, y << level)) * usize(toneStride) << 1);
    const bests = planeOf(levels, level, bestPlane) + row;
    const befores = planeOf(levels, level, beforePlane) + row;
    const afters = planeOf(levels, level, afterPlane) + row;
    const marks = planeOf(levels, level, truncationPlane) + row;
    const seconds = planeOf(levels, level, secondPlane) + row;
    const ordinals = planeOf(levels, level, bestOrdinalPlane) + row;
    const secondOrdinals = planeOf(levels, level, secondOrdinalPlane) + row;
    const fronts = planeOf(levels, level, frontPlane) + row;
    for (let x = 0; x < width; x++) {
      const at = usize(x) << 1;
      const ordinal = i32(load<u16>(ordinals + at));
      if (ordinal == 0) {
        store<u16>(bests + at, 0);
        store<u16>(befores + at, 0);
        store<u16>(afters + at, 0);
        store<u16>(fronts + at, 0);
        store<u16>(seconds + at, 0);
        continue;
      }
      const bright = i32(load<u8>(toneRow + (usize(min(fullWidth - 1, x << level)) << 1)));
      const floor = load<i32>(noise + (usize(bright >> 5) << 2));
      const best = i32(load<u16>(bests + at));
      const rise = best - floor;

      const rival = i32(load<u16>(secondOrdinals + at));
      const rivalRise = i32(load<u16>(seconds + at)) - floor;
      store<u16>(fronts + at, frontOf(level, ordinal, rise, rival, rivalRise, nearSign));
      const hasSecond = rival > 0 && f32(rivalRise) > minPeakOctaves * codesPerOctave && (i32(load<u16>(marks + at)) & secondTruncated) == 0;
      store<u16>(seconds + at, hasSecond ? rivalRise : 0);
      store<u16>(secondOrdinals + at, hasSecond ? depthIndexCode(f32(rival), fractionBits) : 0);

      const behind = stepAfter(steps, ordinal - 1);
      const ahead = stepAfter(steps, ordinal);
      let before = i32(load<u16>(befores + at));
      let after = i32(load<u16>(afters + at));
      const across = floor + i32(minPeakOctaves * codesPerOctave);
      if (behind >= farStep && before < across) before = 0;
      if (ahead >= farStep && after < across) after = 0;
      const up = f32(best - before);
      const down = f32(best - after);
      let bend: f32 = (2.0 * (up / behind + down / ahead)) / ((behind + ahead) * codesPerOctave);
      /** From the best frame to the peak, usual steps. */
      let shift: f32 = 0;
      if (before > 0 && after > 0) {
        if (bend > 0) {
          const isLong = max<f32>(behind, ahead) >= minLongStep;
          const left = (isLong ? exp2(up / (2 * codesPerOctave)) - 1 : up) / behind;
          const right = (isLong ? exp2(down / (2 * codesPerOctave)) - 1 : down) / ahead;
          shift = (0.5 * (left * ahead - right * behind)) / (left + right);
          shift = max<f32>(-0.5 * behind, min<f32>(0.5 * ahead, shift));
        }
      } else {
        // At the end of the stack, or beside a gap, one side is missing: a curve of the usual bend through the other two.
        bend = usualBend / (unit * unit);
        const step = after > 0 ? ahead : behind;
        const inner = (after > 0 ? down : before > 0 ? up : 0) / codesPerOctave;
        const beyond = after > 0 ? behind : ahead;
        // Halfway across a long step the frame beyond it is the nearer one.
        const most: f32 = beyond < minLongStep ? 2 : min<f32>(2, 0.5 * beyond);
        const outward = max<f32>(-0.5 * step, min<f32>(most, inner / (bend * step) - 0.5 * step));
        shift = after > 0 ? -outward : before > 0 ? outward : 0;
      }
      const crossed = shift > 0 ? ahead : behind;
      store<u16>(bests + at, max(0, rise));
      store<u16>(befores + at, depthIndexCode(f32(ordinal) + shift / crossed, fractionBits));
      if (rise <= 0) {
        store<u16>(afters + at, 0);
        continue;
      }
      const relative = load<f32>(errors + (usize(min(511, rise >> 5)) << 2));
      // 1 over the variance, of which the error of the peak is `relative` over the bend.
      const certain = bend * unit * unit;
      const weight = i32((weightUnit * certain * certain) / (relative * relative + certain * certain * (minIndexError * minIndexError)) + 0.5);
      // What lies in a long step is judged by its depth index, once that is smooth.
      const gap = crossed < minLongStep && 0.5 * bend * shift * shift > gapFall ? gapBit : 0;
      // Where the curve may rise further, its depth index is no more than the side on which it does.
      const isTruncated = (i32(load<u16>(marks + at)) & bestTruncated) != 0;
      store<u16>(afters + at, isTruncated ? gapBit : max(1, weight) | gap);
    }
  }
}

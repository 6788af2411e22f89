// Peaks of the focus curves: see curve-state.ts for the planes.
import { codesPerOctave, weightUnit, gapBit, bestTruncated, secondTruncated, minLongStep, usualBend, minPeakOctaves, minIndexError, afterPlane, beforePlane, bestOrdinalPlane, bestPlane, secondOrdinalPlane, secondPlane, truncationPlane, frontPlane, sureOctaves } from './constants';
import { exp2Four } from './common';
import { depthIndexCodes, fourU16, planeOf, storeFour, strideOf } from './curve-state';

/** Numbers of four pixels from a table of 32 bits each. */
// @ts-ignore: decorator
@inline
function fourFrom(table: usize, indices: v128): v128 {
  return v128.load32_lane(
    table + (usize(i32x4.extract_lane(indices, 3)) << 2),
    v128.load32_lane(
      table + (usize(i32x4.extract_lane(indices, 2)) << 2),
      v128.load32_lane(
        table + (usize(i32x4.extract_lane(indices, 1)) << 2),
        v128.load32_zero(table + (usize(i32x4.extract_lane(indices, 0)) << 2)),
        1,
      ),
      2,
    ),
    3,
  );
}

/** Brightness of four pixels of a level, 0 to 255. */
// @ts-ignore: decorator
@inline
function fourBright(toneRow: usize, x: i32, level: i32, fullWidth: i32): v128 {
  let bright = i32x4.splat(0);
  bright = i32x4.replace_lane(bright, 0, i32(load<u8>(toneRow + (usize(min(fullWidth - 1, x << level)) << 1))));
  bright = i32x4.replace_lane(bright, 1, i32(load<u8>(toneRow + (usize(min(fullWidth - 1, (x + 1) << level)) << 1))));
  bright = i32x4.replace_lane(bright, 2, i32(load<u8>(toneRow + (usize(min(fullWidth - 1, (x + 2) << level)) << 1))));
  return i32x4.replace_lane(bright, 3, i32(load<u8>(toneRow + (usize(min(fullWidth - 1, (x + 3) << level)) << 1))));
}

/**
 * Peaks of one level, rows of one strip: by parabola through the log measure of the best frame and its neighbours,
 * which is the Gaussian interpolation of Nayar & Nakagawa (PAMI 16(8), 1994), with the variance that the noise
 * gives it. The frames may lie at uneven distances: `steps` holds one f32 by ordinal, from a frame to the next in usual
 * steps, 1 before the first and after the last. Where a step is long, the parabola goes through measure^(-1/2), which follows a focus curve far out as well: measure ~ (1 + (distance / width)^2)^-2.
 *
 * Beside depth edges a curve has two peaks: a sharp far texture shows through the blurred rim of what is before it, and
 * the window of the measure carries the rim's own detail outward. Which of them is the pixel's own: see candidates.ts.
 *
 * noise: eight i32, codes that noise alone reaches by brightness. errors: f32 by rise in 1/16 codesPerOctave, 512 of them:
 * relative error of an energy, octaves. nearSign: 1 when nearer means a lower ordinal, -1 higher, 0 unknown. unit: the
 * step that the numbers are set for, frames; see `frameUnit` in surface/surface.ts. fall: from its peak to its best
 * frame, octaves, from which a step leaves a gap. fractionBits: of depth indices.
 */
export function peakStrip(
  levels: usize, level: i32, width: i32, height: i32,
  tones: usize, toneStride: i32, fullWidth: i32, fullHeight: i32,
  noise: usize, errors: usize, nearSign: i32, steps: usize, unit: f32, fall: f32, fractionBits: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const stride = strideOf(levels, level);
  const y1 = min(height, (strip + 1) * stripRows);
  const zero = i32x4.splat(0);
  const half = f32x4.splat(0.5);
  const two = f32x4.splat(2);
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
    for (let x = 0; x < width; x += 4) {
      const at = usize(x) << 1;
      const ordinal = fourU16(ordinals + at);
      const has = i32x4.gt_s(ordinal, zero);
      if (!v128.any_true(has)) {
        storeFour(bests + at, zero, x, width);
        storeFour(befores + at, zero, x, width);
        storeFour(afters + at, zero, x, width);
        storeFour(fronts + at, zero, x, width);
        storeFour(seconds + at, zero, x, width);
        continue;
      }
      const floor = fourFrom(noise, i32x4.shr_s(fourBright(toneRow, x, level, fullWidth), 5));
      const best = fourU16(bests + at);
      const rise = i32x4.sub(best, floor);

      // The nearer of two peaks, where it stands out: something thin before what the pixel mostly shows.
      const rival = fourU16(secondOrdinals + at);
      const hasRival = i32x4.gt_s(rival, zero);
      const rivalRise = i32x4.sub(fourU16(seconds + at), floor);
      const isNearer = v128.and(hasRival, i32x4.lt_s(i32x4.mul(i32x4.sub(rival, ordinal), i32x4.splat(nearSign)), zero));
      const ownRise = v128.convert<i32>(v128.bitselect(rivalRise, rise, isNearer));
      const isClear = v128.ge<f32>(v128.mul<f32>(ownRise, f32x4.splat(1.0 / codesPerOctave)), f32x4.splat(sureOctaves));
      storeFour(fronts + at, v128.and(v128.and(has, isClear), v128.bitselect(rival, ordinal, isNearer)), x, width);
      const mark = fourU16(marks + at);
      const isShown = v128.gt<f32>(v128.convert<i32>(rivalRise), f32x4.splat(minPeakOctaves * codesPerOctave));
      const isWhole = i32x4.eq(v128.and(mark, i32x4.splat(secondTruncated)), zero);
      const hasSecond = v128.and(v128.and(has, hasRival), v128.and(isShown, isWhole));
      storeFour(seconds + at, v128.and(hasSecond, rivalRise), x, width);
      storeFour(secondOrdinals + at, v128.and(hasSecond, depthIndexCodes(v128.convert<i32>(rival), fractionBits)), x, width);

      const behind = fourFrom(steps, i32x4.max_s(zero, i32x4.sub(ordinal, i32x4.splat(1))));
      const ahead = fourFrom(steps, ordinal);
      const across = i32x4.add(floor, i32x4.splat(i32(minPeakOctaves * codesPerOctave)));
      let before = fourU16(befores + at);
      let after = fourU16(afters + at);
      before = v128.andnot(before, v128.and(v128.ge<f32>(behind, f32x4.splat(minLongStep)), i32x4.lt_s(before, across)));
      after = v128.andnot(after, v128.and(v128.ge<f32>(ahead, f32x4.splat(minLongStep)), i32x4.lt_s(after, across)));
      const hasBefore = i32x4.gt_s(before, zero);
      const hasAfter = i32x4.gt_s(after, zero);
      const hasBoth = v128.and(hasBefore, hasAfter);
      const up = v128.convert<i32>(i32x4.sub(best, before));
      const down = v128.convert<i32>(i32x4.sub(best, after));
      let bend = v128.div<f32>(
        v128.mul<f32>(f32x4.splat(2), v128.add<f32>(v128.div<f32>(up, behind), v128.div<f32>(down, ahead))),
        v128.mul<f32>(v128.add<f32>(behind, ahead), f32x4.splat(codesPerOctave)),
      );
      // From the best frame to the peak, usual steps: where both sides are known,
      const isLong = v128.ge<f32>(v128.pmax<f32>(behind, ahead), f32x4.splat(minLongStep));
      let left = up;
      let right = down;
      if (v128.any_true(isLong)) {
        const perFall = f32x4.splat(1.0 / (2 * codesPerOctave));
        left = v128.bitselect(v128.sub<f32>(exp2Four(v128.mul<f32>(up, perFall)), f32x4.splat(1)), up, isLong);
        right = v128.bitselect(v128.sub<f32>(exp2Four(v128.mul<f32>(down, perFall)), f32x4.splat(1)), down, isLong);
      }
      left = v128.div<f32>(left, behind);
      right = v128.div<f32>(right, ahead);
      let inner = v128.div<f32>(
        v128.mul<f32>(half, v128.sub<f32>(v128.mul<f32>(left, ahead), v128.mul<f32>(right, behind))),
        v128.add<f32>(left, right),
      );
      inner = v128.pmax<f32>(v128.mul<f32>(f32x4.splat(-0.5), behind), v128.pmin<f32>(v128.mul<f32>(half, ahead), inner));
      let shift = v128.and(inner, v128.gt<f32>(bend, f32x4.splat(0)));
      if (!v128.all_true<i32>(hasBoth)) {
        // and at the end of the stack, or beside a gap: a curve of the usual bend through the other two.
        const usual = f32x4.splat(usualBend / (unit * unit));
        const step = v128.bitselect(ahead, behind, hasAfter);
        const fall = v128.div<f32>(v128.bitselect(down, v128.and(up, hasBefore), hasAfter), f32x4.splat(codesPerOctave));
        const beyond = v128.bitselect(behind, ahead, hasAfter);
        // Halfway across a long step the frame beyond it is the nearer one.
        const most = v128.bitselect(two, v128.pmin<f32>(two, v128.mul<f32>(half, beyond)), v128.lt<f32>(beyond, f32x4.splat(minLongStep)));
        const halfStep = v128.mul<f32>(half, step);
        const outward = v128.pmax<f32>(
          v128.neg<f32>(halfStep),
          v128.pmin<f32>(most, v128.sub<f32>(v128.div<f32>(fall, v128.mul<f32>(usual, step)), halfStep)),
        );
        const outer = v128.bitselect(v128.neg<f32>(outward), v128.and(outward, hasBefore), hasAfter);
        bend = v128.bitselect(bend, usual, hasBoth);
        shift = v128.bitselect(shift, outer, hasBoth);
      }
      const crossed = v128.bitselect(ahead, behind, v128.gt<f32>(shift, f32x4.splat(0)));
      storeFour(bests + at, v128.and(has, i32x4.max_s(zero, rise)), x, width);
      const depthIndex = v128.add<f32>(v128.convert<i32>(ordinal), v128.div<f32>(shift, crossed));
      storeFour(befores + at, v128.and(has, depthIndexCodes(depthIndex, fractionBits)), x, width);

      const shown = v128.and(has, i32x4.gt_s(rise, zero));
      const relative = fourFrom(errors, i32x4.max_s(zero, i32x4.min_s(i32x4.splat(511), i32x4.shr_s(rise, 5))));
      // 1 over the variance, of which the error of the peak is `relative` over the bend.
      const certain = v128.mul<f32>(bend, f32x4.splat(unit * unit));
      const square = v128.mul<f32>(certain, certain);
      const variance = v128.add<f32>(v128.mul<f32>(relative, relative), v128.mul<f32>(square, f32x4.splat(minIndexError * minIndexError)));
      const weight = v128.trunc_sat<i32>(v128.add<f32>(v128.div<f32>(v128.mul<f32>(f32x4.splat(weightUnit), square), variance), half));
      // What lies in a long step is judged by its depth index, once that is smooth.
      const fallen = v128.gt<f32>(v128.mul<f32>(v128.mul<f32>(v128.mul<f32>(half, bend), shift), shift), f32x4.splat(fall));
      const gap = v128.and(v128.and(fallen, v128.lt<f32>(crossed, f32x4.splat(minLongStep))), i32x4.splat(gapBit));
      // Where the curve may rise further, its depth index is no more than the side on which it does.
      const isTruncated = i32x4.ne(v128.and(mark, i32x4.splat(bestTruncated)), zero);
      const told = v128.bitselect(i32x4.splat(gapBit), v128.or(i32x4.max_s(i32x4.splat(1), weight), gap), isTruncated);
      storeFour(afters + at, v128.and(shown, told), x, width);
    }
  }
}

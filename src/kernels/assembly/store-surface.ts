// Depth index, weight and certainty of the surface that was decided on, eight pixels at once: see candidates.ts.
import { certaintyOdds, certaintyOfLead, certaintyOfSupport, coarserShare, codesPerOctave, gapBit, indexOffset, indexPlane, leakBit, leakedPeak, maxStoredIndex, sureSupport, minCompared, minPeakOctaves, risePlane, sameUnits, secondIndexPlane, secondRisePlane, coarseTonesPlane, supportSteps, tonesPlane, truncatedCurve, weightPlane, weightUnit, wholeFrameWeight } from './constants';
import { candidates, eightOf, eightSupportsOf, supportOfCandidate, toneOddsOf } from './candidates';
import { apartOf, exp2Four, insideOf, storeWhere } from './common';
import { planeOf, strideOf, unitsPerFrame } from './curve-state';

/** Four of eight numbers as floats. */
// @ts-ignore: decorator
@inline
function floatsOf(numbers: v128, isHigh: bool): v128 {
  return v128.convert<i32>(isHigh ? v128.extend_high<u16>(numbers) : v128.extend_low<u16>(numbers));
}

/** Four of eight masks. */
// @ts-ignore: decorator
@inline
function maskOf(masks: v128, isHigh: bool): v128 {
  return isHigh ? v128.extend_high<i16>(masks) : v128.extend_low<i16>(masks);
}

/** Depth indices in frames. */
// @ts-ignore: decorator
@inline
function framesOf(codes: v128, fractionBits: i32, isHigh: bool): v128 {
  const unit = f32x4.splat(reinterpret<f32>((127 - fractionBits) << 23));
  return v128.sub<f32>(v128.mul<f32>(floatsOf(codes, isHigh), unit), f32x4.splat(indexOffset));
}

/** Natural logarithms of positive numbers, within 1e-4. */
// @ts-ignore: decorator
@inline
function lnOf(x: v128): v128 {
  const one = f32x4.splat(1);
  const m = v128.sub<f32>(v128.or(v128.and(x, i32x4.splat(0x007fffff)), i32x4.splat(0x3f800000)), one);
  const cubic = v128.add<f32>(f32x4.splat(-0.23669342), v128.mul<f32>(m, f32x4.splat(0.0803073)));
  const quadratic = v128.add<f32>(f32x4.splat(0.43807325), v128.mul<f32>(m, cubic));
  const mantissa = v128.add<f32>(m, v128.mul<f32>(v128.mul<f32>(m, v128.sub<f32>(one, m)), quadratic));
  const exponent = v128.convert<i32>(i32x4.sub(i32x4.shr_s(x, 23), i32x4.splat(127)));
  return v128.mul<f32>(f32x4.splat(0.6931472), v128.add<f32>(exponent, mantissa));
}

/** How sure it is that four pixels show their surface, 0 to 255. own, other: supports, octaves. ofTone: what tones say for it, ln odds. */
// @ts-ignore: decorator
@inline
function certaintyOf(own: v128, other: v128, ofTone: v128): v128 {
  const least = f32x4.splat(minCompared);
  const ofOwn = lnOf(v128.add<f32>(own, least));
  const lead = v128.add<f32>(ofTone, v128.sub<f32>(ofOwn, lnOf(v128.add<f32>(other, least))));
  const odds = v128.add<f32>(
    v128.add<f32>(f32x4.splat(certaintyOdds), v128.mul<f32>(f32x4.splat(certaintyOfSupport), ofOwn)),
    v128.mul<f32>(f32x4.splat(certaintyOfLead), lead),
  );
  const one = f32x4.splat(1);
  const ratio = exp2Four(v128.mul<f32>(v128.abs<f32>(odds), f32x4.splat(1.442695)));
  const likely = v128.bitselect(ratio, one, v128.gt<f32>(odds, f32x4.splat(0)));
  const certainty = v128.div<f32>(v128.mul<f32>(likely, f32x4.splat(255)), v128.add<f32>(ratio, one));
  return v128.trunc_sat<i32>(v128.add<f32>(certainty, f32x4.splat(0.5)));
}

/**
 * Stores the surface of eight pixels from column x (a multiple of 8) on, and takes what is not of it from their best peaks.
 * decidedIndices: address of their depth indices, 0 = none. supports: address of theirs.
 */
function storeSurface(
  levels: usize, count: i32, x: i32, y: i32, width: i32, frames: i32, decidedIndices: usize, supports: usize, unit: f32, same: i32, fractionBits: i32,
): void {
  const zero = i16x8.splat(0);
  const decided = v128.load(decidedIndices);
  const at = ((usize(y) * strideOf(levels, 0)) << 1) + (usize(x) << 1);
  const inside = insideOf(x, width);
  const gaps = planeOf(levels, 0, tonesPlane) + at;
  const certainties = planeOf(levels, 0, coarseTonesPlane) + at;
  const seconds = planeOf(levels, 0, secondRisePlane) + at;
  const secondIndices = planeOf(levels, 0, secondIndexPlane) + at;
  const lowByte = i16x8.splat(255);
  const pair = v128.load(gaps);
  /** Of the surface; of the best peak of level 0 where none of the candidates is of it. */
  let tone = v128.and(pair, lowByte);
  if (!v128.any_true(v128.and(decided, inside))) {
    storeWhere(seconds, zero, inside);
    storeWhere(secondIndices, zero, inside);
    storeWhere(certainties, i16x8.shl(tone, 8), inside);
    storeWhere(gaps, zero, inside);
    return;
  }
  const known = v128.not(i16x8.eq(decided, zero));
  const closer = i16x8.splat(i16(same - 1));
  const rises = planeOf(levels, 0, risePlane) + at;
  const peaks = planeOf(levels, 0, indexPlane) + at;

  // Supports of the surface, and the most of anything else.
  const low = v128.load(supports);
  const high = v128.load(supports, 16);
  let own = zero;
  let other = zero;
  /** Support by level 0 alone. */
  let fine = zero;
  for (let n = candidates - 1; n >= 0; n--) {
    const support = supportOfCandidate(low, high, n);
    if (!v128.any_true(support)) continue;
    const level = n == 2 ? 1 : 0;
    const index = n == 0 ? v128.load(peaks) : n == 1 ? v128.load(secondIndices) : eightOf(levels, level, indexPlane, x, y);
    const isOwn = v128.and(known, i16x8.le_u(apartOf(index, decided), closer));
    const has = v128.and(isOwn, i16x8.gt_s(support, zero));
    const ofCandidate = n == 1 ? i16x8.shr_u(pair, 8) : v128.and(n == 0 ? pair : v128.load(certainties), lowByte);
    tone = v128.bitselect(ofCandidate, tone, has);
    own = i16x8.add(own, v128.and(support, isOwn));
    other = i16x8.max_s(other, v128.andnot(support, isOwn));
    if (n < 2) {
      fine = i16x8.max_s(fine, v128.and(eightSupportsOf(v128.load(n == 0 ? rises : seconds)), has));
    }
  }

  const leastRise = i16x8.splat(i16(Mathf.ceil(minPeakOctaves * codesPerOctave)) - 1);
  const nearer = i16x8.splat(i16(i32(Mathf.ceil(sameUnits * unit * unitsPerFrame(fractionBits))) - 1));
  const gap = i16x8.splat(i16(gapBit));
  let mark = zero;
  let isLeak = zero;
  /** Pixels whose curve is truncated: nothing refines their depth index. */
  let stopped = zero;
  let sumLow = f32x4.splat(0);
  let sumHigh = f32x4.splat(0);
  let indexLow = f32x4.splat(0);
  let indexHigh = f32x4.splat(0);
  /** Support of a surface that only the coarse levels show, octaves. */
  let coarseLow = f32x4.splat(0);
  let coarseHigh = f32x4.splat(0);
  for (let level = 0; level < count; level++) {
    const rise = eightOf(levels, level, risePlane, x, y);
    const best = eightOf(levels, level, indexPlane, x, y);
    let use = v128.and(i16x8.gt_s(rise, leastRise), i16x8.le_u(apartOf(best, decided), nearer));
    use = v128.andnot(v128.and(use, known), stopped);
    if (!v128.any_true(use)) continue;
    const marked = eightOf(levels, level, weightPlane, x, y);
    const stored = v128.andnot(marked, i16x8.splat(i16(leakBit)));
    const leaks = v128.andnot(use, i16x8.eq(marked, stored));
    // What level 1 shows of something beside is no support: that of level 0 is left.
    if (level == 1) own = v128.bitselect(i16x8.min_s(own, fine), own, leaks);
    isLeak = v128.or(isLeak, leaks);
    const none = f32x4.splat(0);
    const first = v128.and(use, i16x8.narrow_i32x4_s(v128.eq<f32>(sumLow, none), v128.eq<f32>(sumHigh, none)));
    const ends = v128.and(first, i16x8.eq(stored, gap));
    mark = v128.bitselect(i16x8.splat(i16(truncatedCurve)), mark, ends);
    stopped = v128.or(stopped, ends);
    use = v128.andnot(use, ends);
    const begins = v128.andnot(first, ends);
    mark = v128.bitselect(v128.and(stored, gap), mark, begins);
    const weight = v128.andnot(stored, gap);
    for (let half = 0; half < 2; half++) {
      const isHigh = half == 1;
      const isFirst = maskOf(begins, isHigh);
      const share = v128.bitselect(f32x4.splat(1), f32x4.splat(coarserShare), isFirst);
      const counted = v128.and(maskOf(use, isHigh), v128.mul<f32>(floatsOf(weight, isHigh), share));
      let index = framesOf(best, fractionBits, isHigh);
      if (level > 1) {
        const height = v128.sub<f32>(v128.div<f32>(floatsOf(rise, isHigh), f32x4.splat(codesPerOctave)), f32x4.splat(minPeakOctaves));
        const isClear = v128.andnot(isFirst, maskOf(leaks, isHigh));
        if (isHigh) coarseHigh = v128.bitselect(height, coarseHigh, isClear);
        else coarseLow = v128.bitselect(height, coarseLow, isClear);
        // Far beyond an end the curve falls slowly: without fine detail its slope says less than its direction.
        const before = v128.and(isFirst, v128.lt<f32>(index, f32x4.splat(1)));
        index = v128.bitselect(v128.min<f32>(index, none), index, before);
        const after = v128.and(isFirst, v128.gt<f32>(index, f32x4.splat(f32(frames))));
        index = v128.bitselect(v128.max<f32>(index, f32x4.splat(f32(frames + 1))), index, after);
      }
      const part = v128.mul<f32>(counted, index);
      if (isHigh) {
        sumHigh = v128.add<f32>(sumHigh, counted);
        indexHigh = v128.add<f32>(indexHigh, part);
      } else {
        sumLow = v128.add<f32>(sumLow, counted);
        indexLow = v128.add<f32>(indexLow, part);
      }
    }
  }

  const none = f32x4.splat(0);
  const noCoarse = i16x8.narrow_i32x4_s(v128.eq<f32>(coarseLow, none), v128.eq<f32>(coarseHigh, none));
  const isFaint = v128.and(i16x8.lt_s(own, i16x8.splat(i16(sureSupport))), noCoarse);
  mark = v128.bitselect(i16x8.splat(i16(leakedPeak)), mark, v128.and(v128.and(i16x8.eq(mark, zero), isLeak), isFaint));
  const unmarked = i16x8.eq(mark, zero);
  let index = zero;
  let weight = zero;
  let certainty = zero;
  for (let half = 0; half < 2; half++) {
    const isHigh = half == 1;
    const sum = isHigh ? sumHigh : sumLow;
    // A second peak, or a depth index taken over from neighbours.
    const isTaken = v128.and(maskOf(v128.and(known, unmarked), isHigh), v128.eq<f32>(sum, none));
    const taken = f32x4.splat(wholeFrameWeight * weightUnit);
    const total = v128.bitselect(taken, sum, isTaken);
    const indexSum = v128.bitselect(v128.mul<f32>(taken, framesOf(decided, fractionBits, isHigh)), isHigh ? indexHigh : indexLow, isTaken);
    const has = v128.gt<f32>(total, none);
    const mean = v128.div<f32>(indexSum, total);
    const code = v128.floor<f32>(v128.add<f32>(
      v128.mul<f32>(v128.add<f32>(mean, f32x4.splat(indexOffset)), f32x4.splat(unitsPerFrame(fractionBits))),
      f32x4.splat(0.5),
    ));
    const clipped = i32x4.max_s(i32x4.splat(1), i32x4.min_s(i32x4.splat(maxStoredIndex), v128.trunc_sat<i32>(code)));
    const coarse = isHigh ? coarseHigh : coarseLow;
    const support = v128.max<f32>(v128.div<f32>(floatsOf(own, isHigh), f32x4.splat(f32(supportSteps))), coarse);
    const sure = certaintyOf(support, v128.div<f32>(floatsOf(other, isHigh), f32x4.splat(f32(supportSteps))), toneOddsOf(isHigh ? high : low));
    // What is hardly sure must not lead its neighbours: by its share alone it still pits smooth leaves; its third power
    // gives a third of a decibel beside hairs.
    const share = v128.mul<f32>(v128.convert<i32>(v128.and(sure, has)), f32x4.splat(1 / 255.0));
    const square = v128.mul<f32>(share, share);
    const counted = v128.mul<f32>(total, v128.mul<f32>(square, share));
    const rounded = v128.trunc_sat<i32>(v128.add<f32>(counted, f32x4.splat(0.5)));
    const heavy = i32x4.min_s(i32x4.splat(32767), rounded);
    index = halfOf(index, v128.and(clipped, has), isHigh);
    weight = halfOf(weight, heavy, isHigh);
    certainty = halfOf(certainty, v128.and(sure, has), isHigh);
  }

  // The peak that the surface goes through becomes the best of the pixel; a peak of something else is none.
  const secondIndex = v128.load(secondIndices);
  const isSecond = v128.andnot(i16x8.le_u(apartOf(secondIndex, index), closer), i16x8.eq(secondIndex, zero));
  const isElse = v128.andnot(v128.andnot(inside, i16x8.le_u(apartOf(v128.load(peaks), index), closer)), i16x8.eq(index, zero));
  storeWhere(rises, v128.and(v128.load(seconds), isSecond), isElse);
  storeWhere(peaks, v128.bitselect(secondIndex, index, isSecond), isElse);
  storeWhere(seconds, index, inside);
  storeWhere(secondIndices, weight, inside);
  storeWhere(gaps, mark, inside);
  storeWhere(certainties, v128.or(certainty, i16x8.shl(tone, 8)), inside);
}

/** Eight numbers below 65536 of which four are new. */
// @ts-ignore: decorator
@inline
function halfOf(eight: v128, four: v128, isHigh: bool): v128 {
  return isHigh ? v128.or(eight, i16x8.narrow_i32x4_u(i32x4.splat(0), four)) : i16x8.narrow_i32x4_u(four, i32x4.splat(0));
}

/**
 * The surface of each pixel, rows of one strip, in level 0's planes: 5 depth index, 7 weight, 9 `gapBit` where frames are too far
 * apart for it, or `truncatedCurve`, 10 how sure it is which surface this is, 0 to 255, and above it the pixel's
 * tone in the frame in which it is sharp. The peak that the surface goes through becomes the best of the pixel, in planes 0 and 1; a
 * peak of something else is none. decided: see `decideStrip`.
 */
export function storeSurfaceStrip(
  levels: usize, count: i32, width: i32, height: i32, frames: i32, supports: usize, supportStride: i32, decided: usize, labelStride: i32,
  unit: f32, fractionBits: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const same = i32(sameUnits * (unit * unitsPerFrame(fractionBits)));
  for (let y = strip * stripRows; y < y1; y++) {
    const row = decided + ((usize(y) * usize(labelStride)) << 1);
    const supportRow = supports + ((usize(y) * usize(supportStride)) << 2);
    for (let x = 0; x < width; x += 8) {
      storeSurface(levels, count, x, y, width, frames, row + (usize(x) << 1), supportRow + (usize(x) << 2), unit, same, fractionBits);
    }
    const weights = planeOf(levels, 0, secondIndexPlane) + ((usize(y) * strideOf(levels, 0)) << 1);
    memory.fill(weights - 32, 0, 32);
    memory.fill(weights + (usize(width) << 1), 0, 32);
  }
}

// The surface made smooth within itself, and whole: see curve-state.ts for the planes.
import { indexOffset } from './constants';
import { apartOf } from './common';
import { columnsInside, fourU16, storeFour, unitsPerFrame } from './curve-state';

/** Zero weight in the row ends: what lies beyond the picture is unknown. */
// @ts-ignore: decorator
@inline
function clearEnds(row: usize, width: i32): void {
  memory.fill(row - 32, 0, 32);
  memory.fill(row + (usize(width) << 1), 0, 32);
}

/** A row of u16 as floats, and eight elements beyond either end; a multiple of eight. */
// @ts-ignore: decorator
@inline
function floatRow(from: usize, width: i32, out: usize): void {
  for (let x = -8; x < width + 8; x += 8) {
    const eight = v128.load(from + (isize(x) << 1));
    const at = out + (isize(x) << 2);
    v128.store(at, v128.convert<i32>(v128.extend_low<u16>(eight)));
    v128.store(at, v128.convert<i32>(v128.extend_high<u16>(eight)), 16);
  }
}

/** How far four neighbours agree, times their taps: an unknown one in full, for it has no weight. */
// @ts-ignore: decorator
@inline
function agreement(depthIndices: v128, weights: v128, here: v128, strictness: v128, taps: v128): v128 {
  const difference = v128.sub<f32>(depthIndices, here);
  const apart = v128.and(v128.mul<f32>(v128.mul<f32>(difference, difference), strictness), v128.gt<f32>(weights, f32x4.splat(0)));
  return v128.div<f32>(taps, v128.add<f32>(f32x4.splat(1), v128.mul<f32>(apart, apart)));
}

/** Four sums and three more, in this order. */
// @ts-ignore: decorator
@inline
function plusThree(sums: v128, first: v128, second: v128, third: v128): v128 {
  return v128.add<f32>(v128.add<f32>(v128.add<f32>(sums, first), second), third);
}

/**
 * One pass of edge-avoiding smoothing with holes of `step` pixels between its 3 x 3 taps, after Dammertz et
 * al., "Edge-avoiding A-Trous wavelet transform" (HPG 2010): neighbours count by their weight and by how near
 * their depth index is (`tolerance`, stored units). The new weight is the mean of those that agree and of those
 * that are unknown. Rows of one strip; planes of one stride, step at most 6. scratch: six rows of width + 64 floats.
 */
export function smoothStrip(
  depthIndices: usize, weights: usize, outIndices: usize, outWeights: usize, stride: i32, width: i32, height: i32,
  step: i32, tolerance: f32, fractionBits: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const unit = f32x4.splat(1 / (tolerance * tolerance * unitsPerFrame(fractionBits) * unitsPerFrame(fractionBits)));
  const zero = f32x4.splat(0);
  const half = f32x4.splat(0.5);
  const tiny = f32x4.splat(1e-20);
  const y0 = strip * stripRows;
  const y1 = min(height, y0 + stripRows);
  const planeBytes = usize(stride) << 1;
  const rowBytes = usize(width + 64) << 2;
  const weightsAt: usize = 3 * rowBytes;
  const away = isize(step) << 2;
  const eighth = f32x4.splat(0.125);
  // Rows that ask for the same others follow each other: each is made floats once, row n of them in n modulo 3.
  const floats = scratch + 128;
  for (let phase = y0; phase < min(y1, y0 + step); phase++) {
    let next = 0;
    for (let y = phase, n = 1; y < y1; y += step, n++) {
      for (; next <= n + 1; next++) {
        const v = max(0, min(height - 1, phase + (next - 1) * step));
        const to = floats + usize(next % 3) * rowBytes;
        floatRow(depthIndices + usize(v) * planeBytes, width, to);
        floatRow(weights + usize(v) * planeBytes, width, to + weightsAt);
      }
      const row = usize(y) * planeBytes;
      clearEnds(outWeights + row, width);
      const own = floats + usize(n % 3) * rowBytes;
      const above = floats + usize((n - 1) % 3) * rowBytes;
      const below = floats + usize((n + 1) % 3) * rowBytes;
      // Taps of the outer columns of each row: [1 2 1] x [1 2 1] / 16, none beyond the picture.
      const ofAbove = f32x4.splat(y >= step ? 0.0625 : 0);
      const ofBelow = f32x4.splat(y + step < height ? 0.0625 : 0);
      for (let x = 0; x < width; x += 4) {
        const column = usize(x) << 2;
        const here = v128.load(own + column);
        // Lanes whose own depth index is unknown take every neighbour as alike.
        const strictness = v128.and(unit, v128.gt<f32>(v128.load(own + weightsAt + column), zero));
        const isInner = x >= step && x + 4 + step <= width;
        let sum = zero;
        let indexSum = zero;
        let agreeing = zero;
        let q = above + column;
        let outer = ofAbove;
        for (let j = 0; j < 3; j++) {
          let left = outer;
          let right = outer;
          if (!isInner) {
            left = v128.and(left, columnsInside(x - step, width));
            right = v128.and(right, columnsInside(x + step, width));
          }
          const before = v128.load(q - away);
          const centre = v128.load(q);
          const after = v128.load(q + away);
          const weightBefore = v128.load(q + weightsAt - away);
          const weight = v128.load(q + weightsAt);
          const weightAfter = v128.load(q + weightsAt + away);
          const asBefore = agreement(before, weightBefore, here, strictness, left);
          const asCentre = agreement(centre, weight, here, strictness, v128.add<f32>(outer, outer));
          const asAfter = agreement(after, weightAfter, here, strictness, right);
          agreeing = plusThree(agreeing, asBefore, asCentre, asAfter);
          const byBefore = v128.mul<f32>(asBefore, weightBefore);
          const byCentre = v128.mul<f32>(asCentre, weight);
          const byAfter = v128.mul<f32>(asAfter, weightAfter);
          sum = plusThree(sum, byBefore, byCentre, byAfter);
          indexSum = plusThree(indexSum, v128.mul<f32>(byBefore, before), v128.mul<f32>(byCentre, centre), v128.mul<f32>(byAfter, after));
          q = (j == 0 ? own : below) + column;
          outer = j == 0 ? eighth : ofBelow;
        }
        const some = v128.gt<f32>(sum, zero);
        const mean = v128.div<f32>(indexSum, v128.pmax<f32>(sum, tiny));
        const weight = v128.div<f32>(sum, v128.pmax<f32>(agreeing, tiny));
        const depthIndex = v128.add<f32>(v128.bitselect(mean, here, some), half);
        const at = row + (usize(x) << 1);
        storeFour(outIndices + at, v128.trunc_sat<i32>(depthIndex), x, width);
        storeFour(outWeights + at, v128.trunc_sat<i32>(v128.add<f32>(weight, half)), x, width);
      }
    }
  }
}

/** Confidence 1 in the planes that fill unknown depth indices. */
const full: i32 = 32768;

/**
 * A map of half the size for push and pull: depth indices by weighted mean, confidence 0..32768 summed and cut at 1. The
 * finest map's confidence is its weight over `fullWeight` (in stored units; 0 = the plane holds confidence).
 * Rows of one strip of the coarser map.
 */
export function pushStrip(
  depthIndices: usize, weights: usize, stride: i32, width: i32, height: i32, fullWeight: i32,
  outIndices: usize, outWeights: usize, outStride: i32, outWidth: i32, outHeight: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(outHeight, (strip + 1) * stripRows);
  for (let y = strip * stripRows; y < y1; y++) {
    const out = (usize(y) * usize(outStride)) << 1;
    let x = 0;
    if (2 * y + 1 < height) {
      for (; 2 * x + 8 <= width; x += 4) {
        const q = (usize(2 * y) * usize(stride) + usize(2 * x)) << 1;
        pushFour(depthIndices + q, weights + q, usize(stride) << 1, fullWeight, outIndices + out + (usize(x) << 1), outWeights + out + (usize(x) << 1));
      }
    }
    for (; x < outWidth; x++) {
      let sum = 0;
      let indexSum: i64 = 0;
      for (let j = 0; j < 2; j++) {
        const yy = 2 * y + j;
        if (yy >= height) break;
        for (let i = 0; i < 2; i++) {
          const xx = 2 * x + i;
          if (xx >= width) break;
          const q = (usize(yy) * usize(stride) + usize(xx)) << 1;
          const weight = confidenceOf(i32(load<u16>(weights + q)), fullWeight);
          sum += weight;
          indexSum += i64(weight) * i64(load<u16>(depthIndices + q));
        }
      }
      store<u16>(outIndices + out + (usize(x) << 1), sum > 0 ? i32((indexSum + (sum >> 1)) / i64(sum)) : 0);
      store<u16>(outWeights + out + (usize(x) << 1), min(full, sum));
    }
  }
}

/** Four of the coarser pixels, from eight pixels of two rows each. */
// @ts-ignore: decorator
@inline
function pushFour(depthIndices: usize, weights: usize, rowBytes: usize, fullWeight: i32, outIndices: usize, outWeights: usize): void {
  const above = confidencesOf(weights, fullWeight);
  const aboveNext = confidencesOf(weights + 8, fullWeight);
  const below = confidencesOf(weights + rowBytes, fullWeight);
  const belowNext = confidencesOf(weights + rowBytes + 8, fullWeight);
  const sum = i32x4.add(pairSums(above, aboveNext), pairSums(below, belowNext));
  // Below 2^32 of one row: two confidences of 2^15 at most, times indices below 2^16.
  const first = pairSums(i32x4.mul(above, fourU16(depthIndices)), i32x4.mul(aboveNext, fourU16(depthIndices + 8)));
  const second = pairSums(
    i32x4.mul(below, fourU16(depthIndices + rowBytes)),
    i32x4.mul(belowNext, fourU16(depthIndices + rowBytes + 8)),
  );
  const low = weightedMeans(first, second, sum);
  const high = weightedMeans(upperHalf(first), upperHalf(second), upperHalf(sum));
  const means = i32x4.shuffle(low, high, 0, 1, 4, 5);
  v128.store64_lane(outIndices, i16x8.narrow_i32x4_u(means, means), 0);
  const kept = i32x4.min_s(i32x4.splat(full), sum);
  v128.store64_lane(outWeights, i16x8.narrow_i32x4_u(kept, kept), 0);
}

/** Sums of neighbours: of four numbers, and of four more. */
// @ts-ignore: decorator
@inline
function pairSums(four: v128, next: v128): v128 {
  return i32x4.add(i32x4.shuffle(four, next, 0, 2, 4, 6), i32x4.shuffle(four, next, 1, 3, 5, 7));
}

// @ts-ignore: decorator
@inline
function upperHalf(four: v128): v128 {
  return i32x4.shuffle(four, four, 2, 3, 2, 3);
}

/** (first + second) / sum of the lower two, rounded; 0 where the sum is. Exact: doubles hold the sums. */
// @ts-ignore: decorator
@inline
function weightedMeans(first: v128, second: v128, sum: v128): v128 {
  const total = f64x2.add(f64x2.convert_low_i32x4_u(first), f64x2.convert_low_i32x4_u(second));
  const rounded = f64x2.add(total, f64x2.convert_low_i32x4_s(i32x4.shr_s(sum, 1)));
  return i32x4.trunc_sat_f64x2_u_zero(f64x2.div(rounded, f64x2.convert_low_i32x4_s(i32x4.max_s(i32x4.splat(1), sum))));
}

/** Confidences of four pixels: see `confidenceOf`. */
// @ts-ignore: decorator
@inline
function confidencesOf(weights: usize, fullWeight: i32): v128 {
  const four = fourU16(weights);
  if (fullWeight == 0) return four;
  const scaled = i32x4.shl(i32x4.min_s(four, i32x4.splat(fullWeight)), 15);
  const divisor = f64x2.splat(f64(fullWeight));
  const low = i32x4.trunc_sat_f64x2_u_zero(f64x2.div(f64x2.convert_low_i32x4_u(scaled), divisor));
  const high = i32x4.trunc_sat_f64x2_u_zero(f64x2.div(f64x2.convert_low_i32x4_u(upperHalf(scaled)), divisor));
  return i32x4.shuffle(low, high, 0, 1, 4, 5);
}

// @ts-ignore: decorator
@inline
function confidenceOf(weight: i32, fullWeight: i32): i32 {
  return fullWeight == 0 ? weight : min(full, (weight << 15) / fullWeight);
}

/**
 * Depth indices everywhere: where the confidence falls below 1 the coarser map, itself filled, stands in (push and pull,
 * Gortler et al., "The Lumigraph", SIGGRAPH 1996). In place; rows of one strip of the finer map.
 */
export function pullStrip(
  depthIndices: usize, weights: usize, stride: i32, width: i32, height: i32, fullWeight: i32,
  coarse: usize, coarseStride: i32, coarseWidth: i32, coarseHeight: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  for (let y = strip * stripRows; y < y1; y++) {
    const row = (usize(y) * usize(stride)) << 1;
    // Fine pixel y lies between coarse ones at y / 2 - 1/4: quarters of the nearer and the farther one.
    const own = min(coarseHeight - 1, y >> 1);
    const other = max(0, min(coarseHeight - 1, (y >> 1) + (y & 1 ? 1 : -1)));
    const ownRow = coarse + ((usize(own) * usize(coarseStride)) << 1);
    const otherRow = coarse + ((usize(other) * usize(coarseStride)) << 1);
    for (let x = 0; x < width; x++) {
      const at = row + (usize(x) << 1);
      const confidence = confidenceOf(i32(load<u16>(weights + at)), fullWeight);
      if (confidence >= full) continue;
      const a = usize(min(coarseWidth - 1, x >> 1)) << 1;
      const b = usize(max(0, min(coarseWidth - 1, (x >> 1) + (x & 1 ? 1 : -1)))) << 1;
      const filled =
        9 * i32(load<u16>(ownRow + a)) + 3 * i32(load<u16>(ownRow + b)) +
        3 * i32(load<u16>(otherRow + a)) + i32(load<u16>(otherRow + b));
      const depthIndex = i32(load<u16>(depthIndices + at));
      // In 1/16 of a stored unit times 1/32768: below 2^36, so in 64 bits.
      const mixed = i64(confidence) * i64(depthIndex * 16) + i64(full - confidence) * i64(filled);
      store<u16>(depthIndices + at, i32((mixed + (i64(full) << 3)) / (i64(full) << 4)));
    }
  }
}

/** Mean of two groups of eight depth indices, halves up; where they lie farther apart than `same`, what lies nearer to `own`. */
// @ts-ignore: decorator
@inline
function betweenTwo(first: v128, other: v128, own: v128, same: v128): v128 {
  const nearer = v128.bitselect(first, other, i16x8.le_u(apartOf(first, own), apartOf(other, own)));
  return v128.bitselect(i16x8.avgr_u(first, other), nearer, i16x8.le_u(apartOf(first, other), same));
}

/** The same of four: the mean of the means of both rows; of equally near ones the first. */
// @ts-ignore: decorator
@inline
function betweenFour(first: v128, right: v128, below: v128, across: v128, own: v128, same: v128): v128 {
  const low = i16x8.min_u(i16x8.min_u(first, right), i16x8.min_u(below, across));
  const high = i16x8.max_u(i16x8.max_u(first, right), i16x8.max_u(below, across));
  const above = v128.bitselect(first, right, i16x8.le_u(apartOf(first, own), apartOf(right, own)));
  const under = v128.bitselect(below, across, i16x8.le_u(apartOf(below, own), apartOf(across, own)));
  const nearer = v128.bitselect(above, under, i16x8.le_u(apartOf(above, own), apartOf(under, own)));
  const mean = i16x8.avgr_u(i16x8.avgr_u(first, right), i16x8.avgr_u(below, across));
  return v128.bitselect(mean, nearer, i16x8.le_u(i16x8.sub(high, low), same));
}

/**
 * Depth indices of level 0 from those of level 1, whose pixel (i, j) lies at (2 i, 2 j): between pixels that lie at most `same`
 * stored units apart their mean, beside a depth edge that which lies nearest to the frame in which the pixel itself is sharpest.
 * ordinals: of those frames, in rows of stride like `out`; 0 = none. At the last row and column the coarse ones are repeated.
 * Rows of one strip of level 0. scratch: two rows of level 1.
 */
export function enlargeStrip(
  coarse: usize, coarseStride: i32, coarseWidth: i32, coarseHeight: i32,
  ordinals: usize, out: usize, stride: i32, width: i32, height: i32, same: i32, fractionBits: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const closer = i16x8.splat(i16(same));
  const offset = i16x8.splat(i16(i32(indexOffset) << fractionBits));
  const rowBytes = usize(coarseWidth) << 1;
  const upper = scratch + 64;
  const lower = upper + (usize(coarseWidth + 64) << 1);
  for (let y = strip * stripRows; y < y1; y++) {
    const from = coarse + ((usize(y >> 1) * usize(coarseStride)) << 1);
    // Copies, for the column beyond the last is the last one's.
    memory.copy(upper, from, rowBytes);
    store<u16>(upper + rowBytes, load<u16>(upper + rowBytes - 2));
    const isBetween = (y & 1) != 0;
    if (isBetween) {
      memory.copy(lower, coarse + ((usize(min(coarseHeight - 1, (y >> 1) + 1)) * usize(coarseStride)) << 1), rowBytes);
      store<u16>(lower + rowBytes, load<u16>(lower + rowBytes - 2));
    }
    const row = (usize(y) * usize(stride)) << 1;
    for (let x = 0; x < width; x += 16) {
      const at = row + (usize(x) << 1);
      const p = upper + usize(x);
      const low = i16x8.add(i16x8.shl(v128.load(ordinals + at), fractionBits), offset);
      const high = i16x8.add(i16x8.shl(v128.load(ordinals + at, 16), fractionBits), offset);
      const own = i16x8.shuffle(low, high, 0, 2, 4, 6, 8, 10, 12, 14);
      const ownOdd = i16x8.shuffle(low, high, 1, 3, 5, 7, 9, 11, 13, 15);
      const first = v128.load(p);
      const right = v128.load(p, 2);
      let even = first;
      let odd: v128;
      if (isBetween) {
        const q = lower + usize(x);
        const below = v128.load(q);
        even = betweenTwo(first, below, own, closer);
        odd = betweenFour(first, right, below, v128.load(q, 2), ownOdd, closer);
      } else odd = betweenTwo(first, right, ownOdd, closer);
      storeEight(out + at, i16x8.shuffle(even, odd, 0, 8, 1, 9, 2, 10, 3, 11), x, width);
      storeEight(out + at + 16, i16x8.shuffle(even, odd, 4, 12, 5, 13, 6, 14, 7, 15), x + 8, width);
    }
  }
}

/** Eight u16; columns past the width are left alone. */
// @ts-ignore: decorator
@inline
function storeEight(p: usize, eight: v128, x: i32, width: i32): void {
  if (x + 8 <= width) {
    v128.store(p, eight);
    return;
  }
  let rest = eight;
  for (let i = x; i < width; i++) {
    store<u16>(p + (usize(i - x) << 1), i16x8.extract_lane_u(rest, 0));
    rest = i8x16.shuffle(rest, rest, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 0, 1);
  }
}

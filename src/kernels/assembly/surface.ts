// The surface made smooth within itself, and whole: see curve-state.ts for the planes.
import { indexOffset } from './constants';
import { apartOf } from './common';
import { columnsInside, fourOf, storeFour, unitsPerFrame } from './curve-state';

/** Zero weight in the row ends: what lies beyond the picture is unknown. */
// @ts-ignore: decorator
@inline
function clearEnds(row: usize, width: i32): void {
  memory.fill(row - 32, 0, 32);
  memory.fill(row + (usize(width) << 1), 0, 32);
}

/** Taps of the smoothing: [1 2 1] / 4. */
// @ts-ignore: decorator
@inline
function tap(i: i32): f32 {
  return i == 0 ? 0.5 : 0.25;
}

/**
 * One pass of edge-avoiding smoothing with holes of `step` pixels between its 3 x 3 taps, after Dammertz et
 * al., "Edge-avoiding A-Trous wavelet transform" (HPG 2010): neighbours count by their weight and by how near
 * their depth index is (`tolerance`, stored units). The new weight is the mean of those that agree and of those
 * that are unknown. Rows of one strip; planes of one stride, step at most 6.
 */
export function smoothStrip(
  depthIndices: usize, weights: usize, outIndices: usize, outWeights: usize, stride: i32, width: i32, height: i32,
  step: i32, tolerance: f32, fractionBits: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const unit = f32x4.splat(1 / (tolerance * tolerance * unitsPerFrame(fractionBits) * unitsPerFrame(fractionBits)));
  const zero = f32x4.splat(0);
  const one = f32x4.splat(1);
  const half = f32x4.splat(0.5);
  const tiny = f32x4.splat(1e-20);
  const y1 = min(height, (strip + 1) * stripRows);
  for (let y = strip * stripRows; y < y1; y++) {
    const row = (usize(y) * usize(stride)) << 1;
    clearEnds(outWeights + row, width);
    for (let x = 0; x < width; x += 4) {
      const at = row + (usize(x) << 1);
      const here = fourOf(depthIndices + at);
      // Lanes whose own depth index is unknown take every neighbour as alike.
      const strictness = v128.and(unit, v128.gt<f32>(fourOf(weights + at), zero));
      let sum = zero;
      let indexSum = zero;
      let agreeing = zero;
      const isInner = x >= step && x + 4 + step <= width;
      for (let j = -1; j <= 1; j++) {
        const yy = y + j * step;
        if (yy < 0 || yy >= height) continue;
        const other = ((usize(yy) * usize(stride)) << 1) + (usize(x) << 1);
        for (let i = -1; i <= 1; i++) {
          const q = other + (isize(i * step) << 1);
          let taps = f32x4.splat(tap(j) * tap(i));
          if (!isInner) taps = v128.and(taps, columnsInside(x + i * step, width));
          const known = fourOf(weights + q);
          const depthIndex = fourOf(depthIndices + q);
          const difference = v128.sub<f32>(depthIndex, here);
          const apart = v128.mul<f32>(v128.mul<f32>(difference, difference), strictness);
          const agrees = v128.div<f32>(taps, v128.add<f32>(one, v128.mul<f32>(apart, apart)));
          const alike = v128.mul<f32>(agrees, known);
          agreeing = v128.add<f32>(agreeing, v128.bitselect(agrees, taps, v128.gt<f32>(known, zero)));
          sum = v128.add<f32>(sum, alike);
          indexSum = v128.add<f32>(indexSum, v128.mul<f32>(alike, depthIndex));
        }
      }
      const some = v128.gt<f32>(sum, zero);
      const mean = v128.div<f32>(indexSum, v128.max<f32>(sum, tiny));
      const weight = v128.div<f32>(sum, v128.max<f32>(agreeing, tiny));
      const depthIndex = v128.add<f32>(v128.bitselect(mean, here, some), half);
      storeFour(outIndices + at, v128.trunc_sat<i32>(depthIndex), x, width);
      storeFour(outWeights + at, v128.trunc_sat<i32>(v128.add<f32>(weight, half)), x, width);
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
    for (let x = 0; x < outWidth; x++) {
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

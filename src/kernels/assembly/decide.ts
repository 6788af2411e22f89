// Near or behind at depth edges, and the depth index and certainty of each pixel's surface: see candidates.ts.
import { gapBit, leakBit, truncatedCurve, sameUnits, backRadius, discRows, windowRadius, toneNoise, alphaOdds, risePlane, secondIndexPlane, weightPlane, discPixels } from './constants';
import { candidateAt, candidates, contestedBit, supportAt, supportOf, toneAt, wide } from './candidates';
import { apartOf, sumOfFour } from './common';
import { planeOf, strideOf, unitsPerFrame } from './curve-state';
import { keepTones, surfaceTones } from './map-depth';
import { storeSurface } from './store-surface';

/** Half the width of a disc of `backRadius` pixels, `j` rows from its centre. */
// @ts-ignore: decorator
@inline
function halfWidth(j: i32): i32 {
  return i32(Mathf.sqrt(f32(backRadius * backRadius - j * j)));
}

/** Whether a label within `reach` pixels (up to 11), in rows and columns, is that of a depth index. */
function isNamed(labels: usize, labelStride: i32, x: i32, y: i32, width: i32, height: i32, depthIndex: i32, same: i32, reach: i32): bool {
  const wanted = i16x8.splat(i16(depthIndex));
  const closer = i16x8.splat(i16(same - 1));
  const least = i16x8.splat(i16(max(-reach, -x)));
  const most = i16x8.splat(i16(min(reach, width - 1 - x)));
  const lanes = i16x8(0, 1, 2, 3, 4, 5, 6, 7);
  for (let yy = max(0, y - reach); yy <= min(height - 1, y + reach); yy++) {
    const at = labels + (usize(yy * labelStride) << 1);
    for (let from = -reach; from <= reach; from += 8) {
      const columns = i16x8.add(lanes, i16x8.splat(i16(from)));
      const inside = v128.and(i16x8.ge_s(columns, least), i16x8.le_s(columns, most));
      const there = v128.load(at + (isize(x + from) << 1));
      if (v128.any_true(v128.and(inside, i16x8.le_u(apartOf(there, wanted), closer)))) return true;
    }
  }
  return false;
}

/**
 * Near surface or what is behind it: the depth index that a pixel with labels of both around belongs to, or its own label where
 * there is nothing to decide. 0 = what is behind shows nothing.
 */
function decideIndex(
  levels: usize, count: i32, x: i32, y: i32, width: i32, height: i32, label: i32, labels: usize, tones: usize, labelStride: i32,
  range: u32, supports: usize, supportStride: i32, nearSign: i32, unit: f32, fractionBits: i32, scratch: usize,
): i32 {
  const own = load<u32>(supports + ((usize(y) * usize(supportStride) + usize(x)) << 2));
  if ((own & ~contestedBit) == 0) return label;
  const perUnit = unit * unitsPerFrame(fractionBits);
  const same = i32(sameUnits * perUnit);
  let near = -1;
  let front = 0;
  for (let n = 0; n < candidates; n++) {
    if (supportAt(own, n) == 0) continue;
    const depthIndex = i32(load<u16>(candidateAt(levels, n, x, y)));
    if (near >= 0 && (depthIndex - front) * nearSign >= 0) continue;
    if (abs(label - depthIndex) >= same && !isNamed(labels, labelStride, x, y, width, height, depthIndex, same, windowRadius)) continue;
    near = n;
    front = depthIndex;
  }
  let wideSupport = 0;
  if (count > 2) {
    // Smooth ground before something detailed: only a wide window shows it, and the detail behind shines through its rim.
    const depthIndex = i32(load<u16>(candidateAt(levels, wide, x, y)));
    const wideAt = (usize(y >> 2) * strideOf(levels, 2) + usize(x >> 2)) << 1;
    const isLeak = (i32(load<u16>(planeOf(levels, 2, weightPlane) + wideAt)) & leakBit) != 0;
    wideSupport = isLeak ? 0 : supportOf(i32(load<u16>(planeOf(levels, 2, risePlane) + wideAt)));
    if (
      wideSupport > 0 && label != 0 && (label - depthIndex) * nearSign >= same && (near < 0 || (depthIndex - front) * nearSign < 0) &&
      isNamed(labels, labelStride, x, y, width, height, depthIndex, same, backRadius)
    ) {
      near = wide;
      front = depthIndex;
    }
  }
  if (near < 0) return label;
  const rangeLow = i32(range & 0xffff);
  const rangeHigh = i32(range >> 16);
  if (rangeLow > 0 && (nearSign > 0 ? rangeHigh - front : front - rangeLow) <= same) return label;

  // Tones of what is behind, and the extremes of those of the front, over some rows of a disc, eight columns at once.
  const wideFront = i16x8.splat(i16(front));
  const closer = i16x8.splat(i16(same - 1));
  const farther = i16x8.splat(i16(same));
  const lowByte = i16x8.splat(255);
  const lanes = i16x8.sub(i16x8(0, 1, 2, 3, 4, 5, 6, 7), i16x8.splat(i16(backRadius)));
  let counts = i16x8.splat(0);
  let sums = i16x8.splat(0);
  let squareSums = i32x4.splat(0);
  let low = i16x8.splat(255);
  let high = i16x8.splat(0);
  let lowest = i16x8.splat(-1);
  let highest = i16x8.splat(0);
  // In each lane the nearest pixel that is behind: its squared distance, how far behind, and its label.
  let nearest = i16x8.splat(i16.MAX_VALUE);
  let nearestApart = i16x8.splat(-1);
  let nearestLabel = i16x8.splat(0);
  for (let j = -backRadius + backRadius % discRows; j <= backRadius; j += discRows) {
    if (y + j < 0 || y + j >= height) continue;
    const half = halfWidth(j);
    const least = i16x8.splat(i16(max(-half, -x)));
    const most = i16x8.splat(i16(min(half, width - 1 - x)));
    const at = (usize((y + j) * labelStride) << 1) + (isize(x - backRadius) << 1);
    for (let part = 0; part < (2 * backRadius + 8) / 8; part++) {
      const columns = i16x8.add(lanes, i16x8.splat(i16(8 * part)));
      const inside = v128.and(i16x8.ge_s(columns, least), i16x8.le_s(columns, most));
      const label8 = v128.load(labels + at + (usize(part) << 4));
      const pair = v128.load(tones + at + (usize(part) << 4));
      lowest = v128.bitselect(i16x8.min_u(lowest, label8), lowest, inside);
      highest = v128.bitselect(i16x8.max_u(highest, label8), highest, inside);
      const above = i16x8.sub_sat_u(label8, wideFront);
      const below = i16x8.sub_sat_u(wideFront, label8);
      const isFront = v128.and(inside, i16x8.le_u(v128.or(above, below), closer));
      const unknown = i16x8.eq(label8, i16x8.splat(0));
      const beyond = nearSign > 0 ? above : below;
      const isBehind = v128.and(inside, v128.or(i16x8.gt_u(beyond, farther), unknown));
      // Of equally distant pixels a known label counts first, then the one nearest to the front: the order must not matter.
      const away = i16x8.add(i16x8.mul(columns, columns), i16x8.splat(i16(j * j)));
      const apart8 = v128.or(beyond, unknown);
      const isNearer = v128.and(isBehind, v128.or(
        i16x8.lt_s(away, nearest),
        v128.and(i16x8.eq(away, nearest), i16x8.lt_u(apart8, nearestApart)),
      ));
      nearest = v128.bitselect(away, nearest, isNearer);
      nearestApart = v128.bitselect(apart8, nearestApart, isNearer);
      nearestLabel = v128.bitselect(label8, nearestLabel, isNearer);
      const tone = v128.and(isBehind, i16x8.shr_u(pair, 8));
      counts = i16x8.sub(counts, isBehind);
      sums = i16x8.add(sums, tone);
      squareSums = i32x4.add(squareSums, i32x4.dot_i16x8_s(tone, tone));
      const ofLabel = v128.and(pair, lowByte);
      low = v128.bitselect(i16x8.min_u(low, ofLabel), low, isFront);
      high = v128.bitselect(i16x8.max_u(high, ofLabel), high, isFront);
    }
  }
  const behind = sumOfFour(i32x4.extadd_pairwise_i16x8_u(counts));
  // The range of labels is that of eight pixels at once: here it is that of this pixel alone.
  if (behind == 0 || mostOf(highest) - leastOf(lowest) <= same) return label;
  const mean = f32(sumOfFour(i32x4.extadd_pairwise_i16x8_u(sums))) / f32(behind);
  const squares = f32(sumOfFour(squareSums));
  const texture = max<f32>(0, squares / f32(behind) - mean * mean);
  const darkest = f32(leastOf(low));
  const brightest = f32(mostOf(high));
  // The front's own tone is the one that differs most from what is behind: the others are mixtures.
  let contrast: f32 = 0;
  if (darkest <= brightest) contrast = brightest - mean > mean - darkest ? brightest - mean : darkest - mean;
  let back = -1;
  let backSupport = 0;
  let nearSupport = near == wide ? wideSupport : supportAt(own, near);
  for (let n = 0; n < candidates; n++) {
    const support = supportAt(own, n);
    if (support == 0 || n == near) continue;
    const depthIndex = i32(load<u16>(candidateAt(levels, n, x, y)));
    if (abs(depthIndex - front) < same) nearSupport += support;
    else if ((depthIndex - front) * nearSign > same && support > backSupport) {
      back = depthIndex;
      backSupport = support;
    }
  }
  if (back < 0) back = labelOfNearest(nearest, nearestApart, nearestLabel, scratch);
  let odds = ln(f32(nearSupport + 1)) - ln(f32(backSupport + 1));
  if (contrast != 0) {
    const alpha = (f32(toneAt(levels, near, x, y)) - mean) / contrast;
    const clarity = Mathf.abs(contrast) / Mathf.sqrt(texture + toneNoise * toneNoise);
    odds += alphaOdds * (max<f32>(-0.5, min<f32>(1.5, alpha)) - 0.5) * clarity * (f32(behind) / discPixels);
  }
  if (odds > 0) return abs(label - front) < same ? label : front;
  return label != 0 && abs(label - back) <= same && (label - front) * nearSign > same ? label : back;
}

/** Label of the nearest of eight lanes, ties as in `decideIndex`. scratch: 48 bytes. */
function labelOfNearest(distances: v128, aparts: v128, labels: v128, scratch: usize): i32 {
  v128.store(scratch, distances);
  v128.store(scratch, aparts, 16);
  v128.store(scratch, labels, 32);
  let best = scratch;
  for (let lane = scratch + 2; lane < scratch + 16; lane += 2) {
    const closer = i32(load<u16>(lane)) - i32(load<u16>(best));
    if (closer < 0 || (closer == 0 && load<u16>(lane, 16) < load<u16>(best, 16))) best = lane;
  }
  return i32(load<u16>(best, 32));
}

// @ts-ignore: decorator
@inline
function leastOf(v: v128): i32 {
  const a = i16x8.min_u(v, i16x8.shuffle(v, v, 4, 5, 6, 7, 0, 1, 2, 3));
  const b = i16x8.min_u(a, i16x8.shuffle(a, a, 2, 3, 0, 1, 2, 3, 0, 1));
  return min(i32(i16x8.extract_lane_u(b, 0)), i32(i16x8.extract_lane_u(b, 1)));
}

// @ts-ignore: decorator
@inline
function mostOf(v: v128): i32 {
  const a = i16x8.max_u(v, i16x8.shuffle(v, v, 4, 5, 6, 7, 0, 1, 2, 3));
  const b = i16x8.max_u(a, i16x8.shuffle(a, a, 2, 3, 0, 1, 2, 3, 0, 1));
  return max(i32(i16x8.extract_lane_u(b, 0)), i32(i16x8.extract_lane_u(b, 1)));
}

/** Natural logarithm of a positive number, within 1e-4. */
// @ts-ignore: decorator
@inline
function ln(x: f32): f32 {
  const bits = reinterpret<i32>(x);
  const m = reinterpret<f32>((bits & 0x007fffff) | 0x3f800000) - 1;
  const mantissa = m + m * (1 - m) * (0.43807325 + m * (-0.23669342 + m * 0.0803073));
  return 0.6931472 * (f32((bits >> 23) - 127) + mantissa);
}

/** The lowest (low half) and the highest of the labels within reach of eight pixels from x on. */
function labelRange(labels: usize, labelStride: i32, x: i32, y: i32, width: i32, height: i32): u32 {
  let low = i16x8.splat(-1);
  let high = i16x8.splat(0);
  const isInner = x >= 16 && x + 24 <= width;
  for (let yy = max(0, y - backRadius); yy <= min(height - 1, y + backRadius); yy++) {
    const row = labels + (usize(yy * labelStride) << 1);
    if (isInner) {
      for (let from = x - 16; from <= x + 16; from += 8) {
        const eight = v128.load(row + (usize(from) << 1));
        low = i16x8.min_u(low, eight);
        high = i16x8.max_u(high, eight);
      }
      continue;
    }
    for (let xx = max(0, x - backRadius); xx < min(width, x + 8 + backRadius); xx++) {
      const one = i16x8.splat(load<u16>(row + (usize(xx) << 1)));
      low = i16x8.min_u(low, one);
      high = i16x8.max_u(high, one);
    }
  }
  return u32(leastOf(low)) | (u32(mostOf(high)) << 16);
}

/**
 * The surface of each pixel, rows of one strip, in level 0's planes: 5 depth index, 7 weight, 9 `gapBit` where frames are too far
 * apart for it, or `truncatedCurve`, 10 how sure it is which surface this is, 0 to 255, and above it, but for nearSign 0, the pixel's
 * tone in the frame in which it is sharp. The peak that the surface goes
 * through becomes the best of the pixel, in planes 0 and 1; a peak of something else is none. nearSign: 0 = it is not known
 * which end is near, and labels stand.
 */
export function decideStrip(
  levels: usize, count: i32, width: i32, height: i32, frames: i32, supports: usize, supportStride: i32, labels: usize, tones: usize, labelStride: i32,
  nearSign: i32, unit: f32, fractionBits: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const perUnit = unit * unitsPerFrame(fractionBits);
  const same = i32(sameUnits * perUnit);
  const decided = scratch + 64;
  const ownTones = scratch + 80;
  for (let y = strip * stripRows; y < y1; y++) {
    const labelRow = labels + ((usize(y) * usize(labelStride)) << 1);
    const toneRow = tones + ((usize(y) * usize(labelStride)) << 1);
    const supportRow = supports + ((usize(y) * usize(supportStride)) << 2);
    for (let x = 0; x < width; x += 8) {
      const own = v128.load(labelRow + (usize(x) << 1));
      v128.store(decided, own);
      // Where all labels around are of one surface nothing is to be decided.
      const range = nearSign == 0 ? 0 : labelRange(labels, labelStride, x, y, width, height);
      if (i32(range >> 16) - i32(range & 0xffff) > same) {
        for (let i = 0; i < min(8, width - x); i++) {
          const at = decided + (usize(i) << 1);
          const label = i32(load<u16>(at));
          store<u16>(at, decideIndex(levels, count, x + i, y, width, height, label, labels, tones, labelStride, range, supports, supportStride, nearSign, unit, fractionBits, scratch));
        }
      }
      const from = supportRow + (usize(x) << 2);
      if (nearSign != 0) surfaceTones(levels, x, y, width, labelRow + (usize(x) << 1), toneRow + (usize(x) << 1), decided, from, same, ownTones);
      storeSurface(levels, count, x, y, width, frames, decided, from, unit, same, fractionBits);
      if (nearSign != 0) keepTones(levels, x, y, width, ownTones);
    }
    const weights = planeOf(levels, 0, secondIndexPlane) + ((usize(y) * strideOf(levels, 0)) << 1);
    memory.fill(weights - 32, 0, 32);
    memory.fill(weights + (usize(width) << 1), 0, 32);
  }
}

// Near or behind at depth edges: see candidates.ts.
import { alphaOdds, backRadius, coarseTonesPlane, discPixels, discRows, indexPlane, leakBit, maxToneOdds, risePlane, sameUnits, secondIndexPlane, shareRadius, supportSteps, sureSupport, thinPixels, toneNoise, tonesPlane, weightPlane, windowRadius } from './constants';
import { candidateAt, candidates, contestedBit, supportAt, supportOf, toneAt, toneOddsShift, wide } from './candidates';
import { apartOf, insideOf, storeWhere, sumOfFour } from './common';
import { planeOf, strideOf, unitsPerFrame } from './curve-state';

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

/** Eight u16 of level 0's columns from `x` on, which may be any, of a row of a level; `shift`: the level. */
// @ts-ignore: decorator
@inline
function columnsOf(row: usize, x: i32, shift: i32): v128 {
  const from = x >> shift;
  const lanes = i16x8.add(i16x8(0, 1, 2, 3, 4, 5, 6, 7), i16x8.splat(i16(x - (from << shift))));
  const bytes = i16x8.add(i16x8.mul(i16x8.shr_u(lanes, shift), i16x8.splat(514)), i16x8.splat(256));
  return i8x16.swizzle(v128.load(row + (isize(from) << 1)), bytes);
}

/**
 * Of the pixels within a square that have a peak of the near surface, whatever their label: their number; into `out`, i32 each, the
 * sums of their tones in the near surface's frame, less 128, of the squares and cubes of these, and of those labelled behind it
 * number, sum and squares.
 */
function nearTones(
  levels: usize, count: i32, x: i32, y: i32, width: i32, height: i32, labels: usize, labelStride: i32, near: i32, front: i32, nearSign: i32, same: i32,
  radius: i32, out: usize,
): i32 {
  const wanted = i16x8.splat(i16(front));
  const closer = i16x8.splat(i16(same - 1));
  const farther = i16x8.splat(i16(same));
  const lowByte = i16x8.splat(255);
  const middle = i16x8.splat(128);
  const ones = i16x8.splat(1);
  const lanes = i16x8(0, 1, 2, 3, 4, 5, 6, 7);
  const first = i16x8.splat(i16(max(-radius, -x)));
  const last = i16x8.splat(i16(min(radius, width - 1 - x)));
  let counts = i32x4.splat(0);
  let sums = i32x4.splat(0);
  let squares = i32x4.splat(0);
  let cubes = i32x4.splat(0);
  let backCounts = i32x4.splat(0);
  let backSums = i32x4.splat(0);
  let backSquares = i32x4.splat(0);
  for (let yy = max(0, y - radius); yy <= min(height - 1, y + radius); yy++) {
    const row = (usize(yy) * strideOf(levels, 0)) << 1;
    for (let from = -radius; from <= radius; from += 8) {
      const columns = i16x8.add(lanes, i16x8.splat(i16(from)));
      const inside = v128.and(i16x8.ge_s(columns, first), i16x8.le_s(columns, last));
      const at = row + (isize(x + from) << 1);
      const pair = v128.load(planeOf(levels, 0, tonesPlane) + at);
      const coarsePair = v128.load(planeOf(levels, 0, coarseTonesPlane) + at);
      const isFirst = i16x8.le_u(apartOf(v128.load(planeOf(levels, 0, indexPlane) + at), wanted), closer);
      let has = v128.or(isFirst, i16x8.le_u(apartOf(v128.load(planeOf(levels, 0, secondIndexPlane) + at), wanted), closer));
      let tone = v128.bitselect(v128.and(pair, lowByte), i16x8.shr_u(pair, 8), isFirst);
      if (count > 1) {
        const coarse = planeOf(levels, 1, indexPlane) + ((usize(yy >> 1) * strideOf(levels, 1)) << 1);
        tone = v128.bitselect(tone, v128.and(coarsePair, lowByte), has);
        has = v128.or(has, i16x8.le_u(apartOf(columnsOf(coarse, x + from, 1), wanted), closer));
      }
      if (near == wide) {
        const coarse = planeOf(levels, 2, indexPlane) + ((usize(yy >> 2) * strideOf(levels, 2)) << 1);
        tone = v128.bitselect(tone, i16x8.shr_u(coarsePair, 8), has);
        has = v128.or(has, i16x8.le_u(apartOf(columnsOf(coarse, x + from, 2), wanted), closer));
      }
      has = v128.and(has, inside);
      const label = v128.load(labels + (usize(yy * labelStride) << 1) + (isize(x + from) << 1));
      const beyond = nearSign > 0 ? i16x8.sub_sat_u(label, wanted) : i16x8.sub_sat_u(wanted, label);
      const isBack = v128.and(has, v128.or(i16x8.gt_u(beyond, farther), i16x8.eq(label, i16x8.splat(0))));
      tone = v128.and(i16x8.sub(tone, middle), has);
      const back = v128.and(tone, isBack);
      counts = i32x4.add(counts, i32x4.dot_i16x8_s(v128.and(has, ones), ones));
      sums = i32x4.add(sums, i32x4.dot_i16x8_s(tone, ones));
      squares = i32x4.add(squares, i32x4.dot_i16x8_s(tone, tone));
      cubes = i32x4.add(cubes, i32x4.dot_i16x8_s(i16x8.mul(tone, tone), tone));
      backCounts = i32x4.add(backCounts, i32x4.dot_i16x8_s(v128.and(isBack, ones), ones));
      backSums = i32x4.add(backSums, i32x4.dot_i16x8_s(back, ones));
      backSquares = i32x4.add(backSquares, i32x4.dot_i16x8_s(back, back));
    }
  }
  store<i32>(out, sumOfFour(sums));
  store<i32>(out, sumOfFour(squares), 4);
  store<i32>(out, sumOfFour(cubes), 8);
  store<i32>(out, sumOfFour(backCounts), 12);
  store<i32>(out, sumOfFour(backSums), 16);
  store<i32>(out, sumOfFour(backSquares), 20);
  return sumOfFour(counts);
}

/**
 * How clearly the near surface has more than half of a pixel of this tone: alpha - 1/2, -1 to 1, times the contrast of the two
 * surfaces over its error. moments: see `nearTones`. around: mean tone of what is labelled behind, in frames of its own.
 *
 * All of it in the near surface's frame, where what is behind looks as it does out of focus: its tone is the mean of the pixels that
 * are labelled behind. The near surface's own tone is the one that differs most: the mean difference of all, weighted by their
 * squares. Where a hair has no label of its own yet, the mean behind holds it too; halfway between the two tones lies at the
 * same place then, for the threshold of a mixture of two by its moments does not depend on their origin (W.-H. Tsai, CVGIP
 * 29, 1985). Tones say nothing where what is labelled behind around looks rather like the near surface, and the less the nearer it
 * comes to halfway from a quarter on: the dark side of a leaf is not the ground because the lit side is brighter still.
 */
function clearShare(own: i32, around: f32, count: i32, moments: usize): f32 {
  const n = f32(count);
  const sum = f32(load<i32>(moments));
  const squares = f32(load<i32>(moments, 4));
  const cubes = f32(load<i32>(moments, 8));
  const behind = f32(load<i32>(moments, 12));
  const ground = behind > 0 ? f32(load<i32>(moments, 16)) / behind : sum / n;
  const texture = behind > 0 ? max<f32>(0, f32(load<i32>(moments, 20)) / behind - ground * ground) : 0;
  const weight = squares - ground * (2 * sum - n * ground);
  // Tones are whole numbers: of differences below one nothing can be said, nor do sums of such numbers hold them.
  if (weight < n) return 0;
  const contrast = (cubes - ground * (3 * squares - ground * (3 * sum - n * ground))) / weight;
  if (Mathf.abs(contrast) < 0.5) return 0;
  const alpha = (f32(own) - 128 - ground) / contrast;
  const clarity = Mathf.abs(contrast) / Mathf.sqrt(texture + toneNoise * toneNoise);
  const alike = max<f32>(0, min<f32>(1, 2 - (4 * (around - 128 - ground)) / contrast));
  return (max<f32>(-0.5, min<f32>(1.5, alpha)) - 0.5) * clarity * alike;
}

/** Whether so many pixels of the square of `shareRadius` about a pixel are no fewer than the measure's window has, beside borders in proportion. */
function fillsWindow(count: i32, x: i32, y: i32, width: i32, height: i32): bool {
  const side = 2 * shareRadius + 1;
  const columns = min(shareRadius, x) + 1 + min(shareRadius, width - 1 - x);
  const rows = min(shareRadius, y) + 1 + min(shareRadius, height - 1 - y);
  return count * side * side >= thinPixels * columns * rows;
}

/**
 * Near surface or what is behind it: the depth index that a pixel with labels of both around belongs to, or its own label where
 * there is nothing to decide. 0 = what is behind shows nothing. Where the near surface is taken, what tones say for it is stored above
 * the pixel's supports. scratch: 80 bytes.
 */
function decideIndex(
  levels: usize, count: i32, x: i32, y: i32, width: i32, height: i32, label: i32, labels: usize, labelStride: i32,
  range: u32, supports: usize, supportStride: i32, nearSign: i32, unit: f32, fractionBits: i32, scratch: usize,
): i32 {
  const at = supports + ((usize(y) * usize(supportStride) + usize(x)) << 2);
  const own = load<u32>(at);
  if ((own & ~contestedBit) == 0) return label;
  const perUnit = unit * unitsPerFrame(fractionBits);
  const same = i32(sameUnits * perUnit);
  const rangeLow = i32(range & 0xffff);
  const rangeHigh = i32(range >> 16);
  const moments = scratch + 48;
  const isSure = max(max(supportAt(own, 0), supportAt(own, 1)), supportAt(own, 2)) >= sureSupport;
  let near = -1;
  let front = 0;
  let counted = 0;
  // The nearest candidate whose detail shows in the whole window of the measure about it, as detail does and noise does not;
  // where none is sure, labels around must be of it as well.
  for (let tried = 0; tried < 1 << candidates;) {
    let next = -1;
    for (let n = 0; n < candidates; n++) {
      if ((tried & (1 << n)) != 0 || supportAt(own, n) == 0) continue;
      const depthIndex = i32(load<u16>(candidateAt(levels, n, x, y)));
      if (next >= 0 && (depthIndex - front) * nearSign >= 0) continue;
      next = n;
      front = depthIndex;
    }
    // Nothing lies behind it.
    if (next < 0 || (rangeLow > 0 && (nearSign > 0 ? rangeHigh - front : front - rangeLow) <= same)) break;
    tried |= 1 << next;
    if (!isSure && abs(label - front) >= same && !isNamed(labels, labelStride, x, y, width, height, front, same, windowRadius)) continue;
    counted = nearTones(levels, count, x, y, width, height, labels, labelStride, next, front, nearSign, same, shareRadius, moments);
    if (!fillsWindow(counted, x, y, width, height)) continue;
    near = next;
    break;
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
      counted = nearTones(levels, count, x, y, width, height, labels, labelStride, near, front, nearSign, same, backRadius, moments);
    }
  }
  if (near < 0) return label;

  // What is behind, and its tones, over some rows of a disc, eight columns at once.
  const wideFront = i16x8.splat(i16(front));
  const farther = i16x8.splat(i16(same));
  const lanes = i16x8.sub(i16x8(0, 1, 2, 3, 4, 5, 6, 7), i16x8.splat(i16(backRadius)));
  const lowByte = i16x8.splat(255);
  const wideTones = planeOf(levels, 0, count > 1 ? coarseTonesPlane : tonesPlane);
  let counts = i16x8.splat(0);
  let sums = i16x8.splat(0);
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
    const labelsAt = labels + (usize((y + j) * labelStride) << 1) + (isize(x - backRadius) << 1);
    const tonesAt = wideTones + ((usize(y + j) * strideOf(levels, 0)) << 1) + (isize(x - backRadius) << 1);
    for (let part = 0; part < (2 * backRadius + 8) / 8; part++) {
      const columns = i16x8.add(lanes, i16x8.splat(i16(8 * part)));
      const inside = v128.and(i16x8.ge_s(columns, least), i16x8.le_s(columns, most));
      const label8 = v128.load(labelsAt + (usize(part) << 4));
      lowest = v128.bitselect(i16x8.min_u(lowest, label8), lowest, inside);
      highest = v128.bitselect(i16x8.max_u(highest, label8), highest, inside);
      const above = i16x8.sub_sat_u(label8, wideFront);
      const below = i16x8.sub_sat_u(wideFront, label8);
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
      counts = i16x8.sub(counts, isBehind);
      sums = i16x8.add(sums, v128.and(isBehind, v128.and(v128.load(tonesAt + (usize(part) << 4)), lowByte)));
    }
  }
  const behind = sumOfFour(i32x4.extadd_pairwise_i16x8_u(counts));
  // The range of labels is that of eight pixels at once: here it is that of this pixel alone.
  if (behind == 0 || mostOf(highest) - leastOf(lowest) <= same) return label;
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
  if (counted > 0) {
    const mean = f32(sumOfFour(i32x4.extadd_pairwise_i16x8_u(sums))) / f32(behind);
    const ofTone = alphaOdds * clearShare(toneAt(levels, near, x, y), mean, counted, moments) * (f32(behind) / discPixels);
    odds += ofTone;
    if (odds > 0) {
      const steps = max(-maxToneOdds, min(maxToneOdds, i32(Mathf.floor(ofTone * f32(supportSteps) + 0.5))));
      store<u32>(at, (own & ((1 << toneOddsShift) - 1)) | (u32(maxToneOdds + 1 + steps) << toneOddsShift));
    }
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
 * Depth index of the surface that each pixel belongs to, stored, 0 = it shows nothing; rows of one strip, in a plane of the labels'
 * stride. Above the supports: what tones say for it, see candidates.ts. nearSign: 0 = it is not known which end is near, and labels
 * stand.
 */
export function decideStrip(
  levels: usize, count: i32, width: i32, height: i32, supports: usize, supportStride: i32, labels: usize, decided: usize, labelStride: i32,
  nearSign: i32, unit: f32, fractionBits: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const perUnit = unit * unitsPerFrame(fractionBits);
  const same = i32(sameUnits * perUnit);
  for (let y = strip * stripRows; y < y1; y++) {
    const labelRow = labels + ((usize(y) * usize(labelStride)) << 1);
    const out = decided + ((usize(y) * usize(labelStride)) << 1);
    for (let x = 0; x < width; x += 8) {
      storeWhere(out + (usize(x) << 1), v128.load(labelRow + (usize(x) << 1)), insideOf(x, width));
      // Where all labels around are of one surface nothing is to be decided.
      const range = nearSign == 0 ? 0 : labelRange(labels, labelStride, x, y, width, height);
      if (i32(range >> 16) - i32(range & 0xffff) <= same) continue;
      for (let i = 0; i < min(8, width - x); i++) {
        const at = usize(x + i) << 1;
        const label = i32(load<u16>(labelRow + at));
        store<u16>(out + at, decideIndex(levels, count, x + i, y, width, height, label, labels, labelStride, range, supports, supportStride, nearSign, unit, fractionBits, scratch));
      }
    }
  }
}

// Supports averaged over neighbours, and the label of each pixel: see candidates.ts.
import { codesPerOctave, maxKeptSupport, apartUnits, supportReach, toneNoise, tonePart, sureSupport, minPeakOctaves, aroundRadius, minAround, coarseTonesPlane, indexPlane, risePlane, secondIndexPlane, tonesPlane, weightPlane } from './constants';
import { candidateAt, candidates, contestedBit, firstSupport, secondSupport, storeSupports, supportAt, supportOfCandidate, thirdSupport, twiceOf } from './candidates';
import { apartOf } from './common';
import { depthIndexAt, planeOf, strideOf, unitsPerFrame } from './curve-state';

/** Sums of squared tones are held in sixteenths of 256, sixteen bits a lane. */
const squareShift: i32 = 4;
/** Supports times 64, so that a part of one is not lost in Q15; sums of them in sixteenths of that. */
const supportShift: i32 = 6;
const sumShift: i32 = 4;

/** 1 (32766) at no distance, next to 0 from `reach` on: (1 - (d / reach)^2)^2 in Q15. inverse: 32767 / reach. */
// @ts-ignore: decorator
@inline
function likeness(distance: v128, reach: v128, inverse: v128): v128 {
  const t = i16x8.mul(i16x8.min_u(distance, reach), inverse);
  const u = i16x8.sub(i16x8.splat(32767), i16x8.q15mulr_sat_s(t, t));
  return i16x8.q15mulr_sat_s(u, u);
}

/** Which of the eight columns from `column` on lie in the picture. */
// @ts-ignore: decorator
@inline
function eightInside(column: i32, width: i32): v128 {
  const columns = i16x8.add(i16x8.splat(i16(column)), i16x8(0, 1, 2, 3, 4, 5, 6, 7));
  return v128.and(i16x8.ge_s(columns, i16x8.splat(0)), i16x8.lt_s(columns, i16x8.splat(i16(width))));
}

/** A candidate in scratch: depth index, tone, sums of weights, tones and squares; then of each of nine taps support, difference of tone and weight. */
const headBytes: usize = 80;
const tapBytes: usize = 48;
const candidateBytes: usize = headBytes + 9 * tapBytes;

/**
 * One pass over the supports of contested pixels, with holes of `hole` pixels (even) between its 3 x 3 taps. A neighbour
 * counts by its tone in the frame of the candidate: its own candidate's near that depth index, or else that of its best peak at
 * level 1, whose window is the wider. Rows of one strip; eight pixels at once in Q15. scratch: 2 KB.
 */
export function aggregateStrip(
  levels: usize, count: i32, width: i32, height: i32, supports: usize, out: usize, supportStride: i32, hole: i32, unit: f32, fractionBits: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const zero = i16x8.splat(0);
  const reach = i32(supportReach * unit * unitsPerFrame(fractionBits));
  const wideReach = i16x8.splat(i16(reach));
  const inverse = i16x8.splat(i16(32767 / reach));
  const lowByte = i16x8.splat(255);
  const contested = i32x4.splat(i32(contestedBit));
  const stride = strideOf(levels, 0);
  const coarser = count > 1 ? 1 : 0;
  const coarseStride = strideOf(levels, coarser);
  const firsts = planeOf(levels, 0, indexPlane);
  const seconds = planeOf(levels, 0, secondIndexPlane);
  const coarseIndices = planeOf(levels, coarser, indexPlane);
  const tones = planeOf(levels, 0, tonesPlane);
  const coarseTones = planeOf(levels, 0, count > 1 ? coarseTonesPlane : tonesPlane);
  for (let y = strip * stripRows; y < y1; y++) {
    const outRow = out + ((usize(y) * usize(supportStride)) << 2);
    memory.fill(outRow - 64, 0, 64);
    memory.fill(outRow + (usize(width) << 2), 0, 64);
    const supportRow = supports + ((usize(y) * usize(supportStride)) << 2);
    const ownRow = (usize(y) * stride) << 1;
    const ownCoarseRow = (usize(y >> coarser) * coarseStride) << 1;
    for (let x = 0; x < width; x += 8) {
      const own = v128.load(supportRow + (usize(x) << 2));
      const ownNext = v128.load(supportRow + (usize(x) << 2), 16);
      if (!v128.any_true(v128.and(v128.or(own, ownNext), contested))) {
        storeSupports(outRow, x, width, own);
        storeSupports(outRow, x + 4, width, ownNext);
        continue;
      }
      let active = 0;
      for (let n = 0; n < candidates; n++) {
        const support = supportOfCandidate(own, ownNext, n);
        if (!v128.any_true(support)) continue;
        active |= 1 << n;
        const head = scratch + usize(n) * candidateBytes;
        v128.store(head, n == 0 ? v128.load(firsts + ownRow + (usize(x) << 1))
          : n == 1 ? v128.load(seconds + ownRow + (usize(x) << 1))
          : twiceOf(coarseIndices + ownCoarseRow + (usize(x >> coarser) << 1)));
        const pair = v128.load((n == 2 ? coarseTones : tones) + ownRow + (usize(x) << 1));
        v128.store(head, n == 1 ? i16x8.shr_u(pair, 8) : v128.and(pair, lowByte), 16);
        v128.store(head, zero, 32);
        v128.store(head, zero, 48);
        v128.store(head, zero, 64);
      }
      let taps = 0;
      const isInner = x >= hole && x + 8 + hole <= width;
      for (let j = -1; j <= 1; j++) {
        const yy = y + j * hole;
        if (yy < 0 || yy >= height) continue;
        const fineRow = (usize(yy) * stride) << 1;
        const coarseRow = (usize(yy >> coarser) * coarseStride) << 1;
        const from = supports + ((usize(yy) * usize(supportStride)) << 2);
        for (let i = -1; i <= 1; i++) {
          const xx = x + i * hole;
          const q = fineRow + (isize(xx) << 1);
          const there = v128.load(from + (isize(xx) << 2));
          const thereNext = v128.load(from + (isize(xx) << 2), 16);
          const s0 = firstSupport(there, thereNext);
          const s1 = secondSupport(there, thereNext);
          const s2 = thirdSupport(there, thereNext);
          const z0 = v128.load(firsts + q);
          const z1 = v128.load(seconds + q);
          const z2 = coarser ? twiceOf(coarseIndices + coarseRow + (isize(xx >> 1) << 1)) : z0;
          const pair = v128.load(tones + q);
          const t0 = v128.and(pair, lowByte);
          const t1 = i16x8.shr_u(pair, 8);
          const t2 = v128.and(v128.load(coarseTones + q), lowByte);
          const has0 = i16x8.gt_s(s0, zero);
          const has1 = i16x8.gt_s(s1, zero);
          const has2 = i16x8.gt_s(s2, zero);
          // Taps of [1 2 1] x [1 2 1].
          let weight = i16x8.splat(i16((i == 0 ? 2 : 1) * (j == 0 ? 2 : 1)));
          if (!isInner) weight = v128.and(weight, eightInside(xx, width));
          for (let n = 0; n < candidates; n++) {
            if (!(active & (1 << n))) continue;
            const head = scratch + usize(n) * candidateBytes;
            const z = v128.load(head);
            const d0 = apartOf(z0, z);
            const w0 = v128.and(v128.and(has0, i16x8.lt_u(d0, wideReach)), likeness(d0, wideReach, inverse));
            const d1 = apartOf(z1, z);
            const w1 = v128.and(v128.and(has1, i16x8.lt_u(d1, wideReach)), likeness(d1, wideReach, inverse));
            const d2 = apartOf(z2, z);
            const w2 = v128.and(v128.and(has2, i16x8.lt_u(d2, wideReach)), likeness(d2, wideReach, inverse));
            const support = i16x8.add(
              i16x8.add(i16x8.q15mulr_sat_s(w0, i16x8.shl(s0, supportShift)), i16x8.q15mulr_sat_s(w1, i16x8.shl(s1, supportShift))),
              i16x8.q15mulr_sat_s(w2, i16x8.shl(s2, supportShift)),
            );
            let tone = v128.bitselect(t0, t2, i16x8.gt_s(w0, zero));
            tone = v128.bitselect(t1, tone, i16x8.gt_s(w1, w0));
            tone = v128.bitselect(t2, tone, i16x8.gt_s(w2, i16x8.max_s(w0, w1)));
            const apart = i16x8.sub(tone, v128.load(head, 16));
            const square = i16x8.shr_u(i16x8.add(i16x8.mul(apart, apart), i16x8.splat(i16(1) << i16(squareShift - 1))), squareShift);
            const kept = head + headBytes + usize(taps) * tapBytes;
            v128.store(kept, support);
            v128.store(kept, i16x8.abs(apart), 16);
            v128.store(kept, weight, 32);
            v128.store(head, i16x8.add(v128.load(head, 32), weight), 32);
            v128.store(head, i16x8.add(v128.load(head, 48), i16x8.mul(weight, apart)), 48);
            v128.store(head, i16x8.add(v128.load(head, 64), i16x8.mul(weight, square)), 64);
          }
          taps++;
        }
      }
      let result = v128.and(own, contested);
      let resultNext = v128.and(ownNext, contested);
      for (let n = 0; n < candidates; n++) {
        if (!(active & (1 << n))) continue;
        const head = scratch + usize(n) * candidateBytes;
        const sums = v128.load(head, 32);
        const apart = v128.load(head, 48);
        const squares = v128.load(head, 64);
        const farthest = v128.narrow<i32>(
          farthestTone(v128.extend_low<i16>(sums), v128.extend_low<i16>(apart), v128.extend_low<u16>(squares)),
          farthestTone(v128.extend_high<i16>(sums), v128.extend_high<i16>(apart), v128.extend_high<u16>(squares)),
        );
        const perTone = v128.narrow<i32>(inverseOf(v128.extend_low<i16>(farthest)), inverseOf(v128.extend_high<i16>(farthest)));
        let total = zero;
        let weights = zero;
        for (let k = 0; k < taps; k++) {
          const kept = head + headBytes + usize(k) * tapBytes;
          const weight = v128.load(kept, 32);
          const alike = likeness(v128.load(kept, 16), farthest, perTone);
          total = i16x8.add(total, i16x8.mul(weight, i16x8.shr_u(i16x8.q15mulr_sat_s(alike, v128.load(kept)), sumShift)));
          weights = i16x8.add(weights, i16x8.mul(weight, i16x8.shr_u(alike, sumShift)));
        }
        const isOne = supportOfCandidate(own, ownNext, n);
        result = v128.or(result, i32x4.shl(meanSupport(v128.extend_low<u16>(total), v128.extend_low<u16>(weights), v128.extend_low<u16>(isOne)), n << 3));
        resultNext = v128.or(resultNext, i32x4.shl(meanSupport(v128.extend_high<u16>(total), v128.extend_high<u16>(weights), v128.extend_high<u16>(isOne)), n << 3));
      }
      const none = i32x4.splat(0);
      storeSupports(outRow, x, width, v128.bitselect(result, own, i32x4.lt_s(own, none)));
      storeSupports(outRow, x + 4, width, v128.bitselect(resultNext, ownNext, i32x4.lt_s(ownNext, none)));
    }
  }
}

/** Difference of tones from which on four pixels do not look like a neighbour, 0 to 255, from the sums of the taps. */
// @ts-ignore: decorator
@inline
function farthestTone(weights: v128, apart: v128, squares: v128): v128 {
  const sum = v128.convert<i32>(weights);
  const mean = v128.div<f32>(v128.convert<i32>(apart), sum);
  const square = v128.div<f32>(v128.mul<f32>(v128.convert<i32>(squares), f32x4.splat(f32(1 << squareShift))), sum);
  const variance = v128.max<f32>(f32x4.splat(0), v128.sub<f32>(square, v128.mul<f32>(mean, mean)));
  const spread = v128.add<f32>(f32x4.splat(toneNoise * toneNoise), v128.mul<f32>(f32x4.splat(tonePart * tonePart), variance));
  return v128.trunc_sat<i32>(v128.sqrt<f32>(spread));
}

/** 32767 over four whole numbers, rounded down. */
// @ts-ignore: decorator
@inline
function inverseOf(numbers: v128): v128 {
  return v128.trunc_sat<i32>(v128.div<f32>(f32x4.splat(32767), v128.convert<i32>(numbers)));
}

/** Weighted mean of supports, at least 1 where there is support: zero would mean that there is none. */
// @ts-ignore: decorator
@inline
function meanSupport(total: v128, weights: v128, own: v128): v128 {
  // Totals are in 1/64 of a support, weights in Q15, both in sixteenths.
  const ratio = v128.div<f32>(v128.convert<i32>(total), v128.convert<i32>(weights));
  const mean = v128.add<f32>(v128.mul<f32>(ratio, f32x4.splat(f32(32768 >> supportShift))), f32x4.splat(0.5));
  const kept = i32x4.min_s(v128.trunc_sat<i32>(v128.max<f32>(f32x4.splat(1), mean)), i32x4.splat(maxKeptSupport));
  return v128.and(kept, i32x4.gt_s(own, i32x4.splat(0)));
}

/** Candidate of the most support, or -1; with little of it the pixel shows nothing. */
// @ts-ignore: decorator
@inline
function bestCandidate(supports: u32): i32 {
  let best = -1;
  let most = sureSupport - 1;
  for (let n = 0; n < candidates; n++) {
    const support = supportAt(supports, n);
    if (support > most) {
      most = support;
      best = n;
    }
  }
  return best;
}

/** First of the levels from 2 on whose peak at level 0's pixel is there and shared by the pixels around; 0 = none. */
function coarseLevel(levels: usize, count: i32, x: i32, y: i32, width: i32, height: i32, unit: f32, fractionBits: i32): i32 {
  for (let level = 2; level < count; level++) {
    const stride = strideOf(levels, level);
    const centreX = x >> level;
    const centreY = y >> level;
    const q = (usize(centreY) * stride + usize(centreX)) << 1;
    if (load<u16>(planeOf(levels, level, weightPlane) + q) == 0 || f32(load<u16>(planeOf(levels, level, risePlane) + q)) < minPeakOctaves * codesPerOctave) continue;
    const depthIndex = depthIndexAt(load<u16>(planeOf(levels, level, indexPlane) + q), fractionBits);
    let found = 0;
    for (let yy = max(0, centreY - aroundRadius); yy <= min((height - 1) >> level, centreY + aroundRadius); yy++) {
      for (let xx = max(0, centreX - aroundRadius); xx <= min((width - 1) >> level, centreX + aroundRadius); xx++) {
        const at = (usize(yy) * stride + usize(xx)) << 1;
        if (f32(load<u16>(planeOf(levels, level, risePlane) + at)) < minPeakOctaves * codesPerOctave) continue;
        if (Mathf.abs(depthIndexAt(load<u16>(planeOf(levels, level, indexPlane) + at), fractionBits) - depthIndex) <= apartUnits * unit) found++;
      }
    }
    if (found >= minAround) return level;
  }
  return 0;
}

/** Label of each pixel, u16: the depth index of its candidate of the most support, 0 = it shows nothing. Rows of one strip. */
export function labelStrip(
  levels: usize, count: i32, width: i32, height: i32, supports: usize, supportStride: i32, labels: usize, labelStride: i32, unit: f32, fractionBits: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  for (let y = strip * stripRows; y < y1; y++) {
    const out = labels + ((usize(y) * usize(labelStride)) << 1);
    const from = supports + ((usize(y) * usize(supportStride)) << 2);
    for (let x = 0; x < width; x++) {
      const best = bestCandidate(load<u32>(from + (usize(x) << 2)));
      let depthIndex = 0;
      if (best >= 0) depthIndex = i32(load<u16>(candidateAt(levels, best, x, y)));
      else if (count > 2) {
        const level = coarseLevel(levels, count, x, y, width, height, unit, fractionBits);
        if (level > 0) depthIndex = i32(load<u16>(planeOf(levels, level, indexPlane) + ((usize(y >> level) * strideOf(levels, level) + usize(x >> level)) << 1)));
      }
      store<u16>(out + (usize(x) << 1), depthIndex);
    }
  }
}

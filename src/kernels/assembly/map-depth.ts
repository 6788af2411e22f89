// The depth of the map where something thin lies before something else. The picture takes from the near frame what the near thing
// covers even in part; the depth of a pixel is that of what covers most of it.
//
// The focus measure answers to detail anywhere in its window, so that the pixels beside a hair have the hair's depth as well. Its
// alpha tells them apart: the part of the hair's tone in theirs, in light. The hair's own tone is the one that differs most from
// what is behind: the others are mixtures. Where the near thing is broad its inner pixels speak for it, and nothing is changed:
// dark parts of a leaf are not the ground.
//
// Alpha has an error: the scatter of tones over the contrast. A depth that is kept is as sure as alpha is above one half by more
// than that error. Where tones do not tell the two surfaces apart, and where the depth behind is taken over, both are as likely.
import { certaintyParts, confirmedSigmas, edgeBit, edgeReach, normalSlope, shareRadius, thinPixels, toneNoise } from './constants';
import { apartOf, exp2, insideOf, storeWhere, sumOfFour } from './common';

// @ts-ignore: decorator
@inline
function fartherOf(one: v128, other: v128, nearSign: i32): v128 {
  return nearSign > 0 ? i16x8.max_u(one, other) : i16x8.min_u(one, other);
}

/** The farthest of the rows within reach of each of eight columns; `none` outside of the picture. */
// @ts-ignore: decorator
@inline
function farthestOfRows(depthIndices: usize, stride: i32, width: i32, height: i32, x: i32, y: i32, nearSign: i32): v128 {
  const none = i16x8.splat(nearSign > 0 ? 0 : -1);
  if (x < 0 || x >= width) return none;
  let farthest = none;
  for (let yy = max(0, y - edgeReach); yy <= min(height - 1, y + edgeReach); yy++) {
    const row = v128.load(depthIndices + ((usize(yy * stride) + usize(x)) << 1));
    farthest = fartherOf(farthest, row, nearSign);
  }
  return v128.bitselect(farthest, none, insideOf(x, width));
}

/**
 * Marks of each pixel of the rows of one strip, u16 in a plane of the same stride: its tone, moved there
 * from the high byte of its certainty, and `edgeBit` where something more than `same` behind it, stored units, lies within `edgeReach` pixels to either side.
 * nearSign: 1 or -1.
 */
export function markDepthEdgesStrip(
  depthIndices: usize, certainties: usize, marks: usize, stride: i32, width: i32, height: i32, nearSign: i32, same: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const least = i16x8.splat(i16(same));
  for (let y = strip * stripRows; y < y1; y++) {
    const row = (usize(y * stride)) << 1;
    let before = farthestOfRows(depthIndices, stride, width, height, -8, y, nearSign);
    let here = farthestOfRows(depthIndices, stride, width, height, 0, y, nearSign);
    for (let x = 0; x < width; x += 8) {
      const after = farthestOfRows(depthIndices, stride, width, height, x + 8, y, nearSign);
      // Of `edgeReach` columns to either side.
      let farthest = here;
      farthest = fartherOf(farthest, i16x8.shuffle(before, here, 7, 8, 9, 10, 11, 12, 13, 14), nearSign);
      farthest = fartherOf(farthest, i16x8.shuffle(before, here, 6, 7, 8, 9, 10, 11, 12, 13), nearSign);
      farthest = fartherOf(farthest, i16x8.shuffle(before, here, 5, 6, 7, 8, 9, 10, 11, 12), nearSign);
      farthest = fartherOf(farthest, i16x8.shuffle(here, after, 1, 2, 3, 4, 5, 6, 7, 8), nearSign);
      farthest = fartherOf(farthest, i16x8.shuffle(here, after, 2, 3, 4, 5, 6, 7, 8, 9), nearSign);
      farthest = fartherOf(farthest, i16x8.shuffle(here, after, 3, 4, 5, 6, 7, 8, 9, 10), nearSign);
      const at = row + (usize(x) << 1);
      const own = v128.load(depthIndices + at);
      const inside = insideOf(x, width);
      const isEdge = v128.and(i16x8.gt_u(apartOf(own, farthest), least), inside);
      const stored = v128.load(certainties + at);
      storeWhere(certainties + at, v128.and(stored, i16x8.splat(255)), inside);
      const mark = v128.or(i16x8.shr_u(stored, 8), v128.and(isEdge, i16x8.splat(i16(edgeBit))));
      storeWhere(marks + at, mark, inside);
      before = here;
      here = after;
    }
  }
}

/**
 * Depth index of a marked pixel in the low half: its own, or the mean of what lies behind it around it; in the high half, in
 * `certaintyParts`, how likely it is which of the two.
 */
function depthOfMost(
  depthIndices: usize, marks: usize, stride: i32, width: i32, height: i32, x: i32, y: i32, nearSign: i32, same: i32,
): i32 {
  const at = (usize(y * stride) + usize(x)) << 1;
  const own = i32(load<u16>(depthIndices + at));
  const front = i16x8.splat(i16(own));
  const farther = i16x8.splat(i16(same));
  const middle = i16x8.splat(128);
  const ones = i16x8.splat(1);
  const edges = i16x8.splat(i16(edgeBit));
  const lanes = i16x8(0, 1, 2, 3, 4, 5, 6, 7);
  const first = i16x8.splat(i16(max(-shareRadius, -x)));
  const last = i16x8.splat(i16(min(shareRadius, width - 1 - x)));
  let inner = i32x4.splat(0);
  // Moments of the tones, less 128, of the near surface and of what is behind.
  let nearCount = i32x4.splat(0);
  let nearSum = i32x4.splat(0);
  let nearSquares = i32x4.splat(0);
  let nearCubes = i32x4.splat(0);
  let backCount = i32x4.splat(0);
  let backSum = i32x4.splat(0);
  let backSquares = i32x4.splat(0);
  let backDepths = i32x4.splat(0);
  for (let yy = max(0, y - shareRadius); yy <= min(height - 1, y + shareRadius); yy++) {
    for (let from = -shareRadius; from <= shareRadius; from += 8) {
      const columns = i16x8.add(lanes, i16x8.splat(i16(from)));
      const inside = v128.and(i16x8.ge_s(columns, first), i16x8.le_s(columns, last));
      const p = (usize(yy * stride) << 1) + (isize(x + from) << 1);
      const index = v128.load(depthIndices + p);
      const mark = v128.load(marks + p);
      const beyond = nearSign > 0 ? i16x8.sub_sat_u(index, front) : i16x8.sub_sat_u(front, index);
      const isBack = v128.and(inside, i16x8.gt_u(beyond, farther));
      const isNear = v128.and(inside, i16x8.le_u(apartOf(index, front), farther));
      const tone = i16x8.sub(v128.and(mark, i16x8.splat(255)), middle);
      const isEdge = i16x8.eq(v128.and(mark, edges), edges);
      inner = i32x4.add(inner, i32x4.dot_i16x8_s(v128.and(v128.andnot(isNear, isEdge), ones), ones));
      const near = v128.and(tone, isNear);
      const back = v128.and(tone, isBack);
      nearCount = i32x4.add(nearCount, i32x4.dot_i16x8_s(v128.and(isNear, ones), ones));
      nearSum = i32x4.add(nearSum, i32x4.dot_i16x8_s(near, ones));
      nearSquares = i32x4.add(nearSquares, i32x4.dot_i16x8_s(near, near));
      nearCubes = i32x4.add(nearCubes, i32x4.dot_i16x8_s(i16x8.mul(near, near), near));
      backCount = i32x4.add(backCount, i32x4.dot_i16x8_s(v128.and(isBack, ones), ones));
      backSum = i32x4.add(backSum, i32x4.dot_i16x8_s(back, ones));
      backSquares = i32x4.add(backSquares, i32x4.dot_i16x8_s(back, back));
      backDepths = i32x4.add(backDepths, i32x4.extadd_pairwise_i16x8_u(v128.and(beyond, isBack)));
    }
  }
  const behind = f32(sumOfFour(backCount));
  if (behind == 0 || sumOfFour(inner) >= thinPixels) return own | (certaintyParts << 16);
  const untold = own | ((certaintyParts >> 1) << 16);
  const ground = f32(sumOfFour(backSum)) / behind;
  const texture = f32(sumOfFour(backSquares)) / behind - ground * ground;
  const count = f32(sumOfFour(nearCount));
  const sum = f32(sumOfFour(nearSum));
  const squares = f32(sumOfFour(nearSquares));
  const cubes = f32(sumOfFour(nearCubes));
  // The near surface's own tone less that of the ground: the mean of its pixels' differences, weighted by their squares.
  const weight = squares - ground * (2 * sum - count * ground);
  const least = confirmedSigmas * confirmedSigmas * (max<f32>(0, texture) + toneNoise * toneNoise);
  // No more than the largest difference, the contrast squared is no more than this sum, which small differences leave inexact.
  if (weight <= least) return untold;
  const contrast = (cubes - ground * (3 * squares - ground * (3 * sum - count * ground))) / weight;
  if (contrast * contrast <= least) return untold;
  const tone: f32 = f32(load<u8>(marks + at)) - 128;
  // Light follows about the square of a tone.
  const alpha = ((tone - ground) * (tone + ground + 256)) / (contrast * (2 * ground + contrast + 256));
  if (alpha >= 0.5) {
    // Errors by which alpha is above one half.
    const z = min<f32>(4, ((alpha - 0.5) * Mathf.abs(contrast) * confirmedSigmas) / Mathf.sqrt(least));
    const odds = exp2(z * normalSlope * f32(Math.LOG2E));
    return own | (i32((f32(certaintyParts) * odds) / (1 + odds) + 0.5) << 16);
  }
  const depth = i32(f32(sumOfFour(backDepths)) / behind + 0.5);
  return (nearSign > 0 ? own + depth : own - depth) | ((certaintyParts >> 1) << 16);
}

/**
 * Depth indices of the map, rows of one strip, in a plane of the same stride; certainties, 0 to 255, are lowered in place. marks: see
 * `markDepthEdgesStrip`. nearSign: 1 or -1. same: farthest depth indices of one surface, stored units.
 */
export function mapDepthStrip(
  depthIndices: usize, marks: usize, certainties: usize, out: usize, stride: i32, width: i32, height: i32, nearSign: i32, same: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const edges = i16x8.splat(i16(edgeBit));
  for (let y = strip * stripRows; y < y1; y++) {
    for (let x = 0; x < width; x += 8) {
      const at = (usize(y * stride) + usize(x)) << 1;
      v128.store(out + at, v128.load(depthIndices + at));
      if (!v128.any_true(v128.and(v128.and(v128.load(marks + at), edges), insideOf(x, width)))) continue;
      for (let i = 0; i < min(8, width - x); i++) {
        const p = at + (usize(i) << 1);
        if ((i32(load<u16>(marks + p)) & edgeBit) == 0) continue;
        const mapped = depthOfMost(depthIndices, marks, stride, width, height, x + i, y, nearSign, same);
        store<u16>(out + p, u16(mapped));
        const certainty = i32(load<u16>(certainties + p));
        // What shows anything stays apart from what shows nothing.
        if (certainty > 0) store<u16>(certainties + p, u16(max(1, (certainty * (mapped >> 16)) / certaintyParts)));
      }
    }
  }
}

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
//
// Where nothing behind shows detail, the measure gives the smooth ground beside a hair the hair's depth, and no tone says whether
// the ground is a surface of its own. But smooth parts of one surface have its detail all around them, and the ground has it to
// one side. So the depth of a pixel without detail of its own is interpolated where rays from it meet detail of that depth in more
// than half of all directions, and extrapolated where none of four neighbouring rays of eight does: then it is as likely as not.
import { certaintyParts, confirmedSigmas, detailBit, edgeBit, edgeReach, normalSlope, ringRadius, shareRadius, thinPixels, toneNoise } from './constants';
import { apartOf, exp2, insideOf, storeWhere, sumOfFour } from './common';

/** Steps of a ray along a diagonal that is as long. */
const diagonalSteps: i32 = i32(f64(ringRadius) * 0.70710678 + 0.5);

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

/** Which of eight pixels show detail of their own: sums of squares of Sobel's derivatives of four tones each. */
// @ts-ignore: decorator
@inline
function sobelEnergies(across: v128, down: v128, least: v128): v128 {
  const low = i16x8.shuffle(across, down, 0, 8, 1, 9, 2, 10, 3, 11);
  const high = i16x8.shuffle(across, down, 4, 12, 5, 13, 6, 14, 7, 15);
  return i16x8.narrow_i32x4_s(
    i32x4.gt_s(i32x4.dot_i16x8_s(low, low), least),
    i32x4.gt_s(i32x4.dot_i16x8_s(high, high), least),
  );
}

/** Tones of eight pixels, which lie above their certainties. */
// @ts-ignore: decorator
@inline
function tonesAt(p: usize): v128 {
  return i16x8.shr_u(v128.load(p), 8);
}

/**
 * Which of the eight pixels from column x on, at `p`, whose neighbours in the rows above and below lie at `up` and `down`, show more than
 * `least`. Beyond the ends of rows tones go on.
 */
// @ts-ignore: decorator
@inline
function detailOf(p: usize, up: usize, down: usize, x: i32, width: i32, least: v128): v128 {
  const lanes = i16x8(0, 1, 2, 3, 4, 5, 6, 7);
  const isFirst = i16x8.eq(lanes, i16x8.splat(i16(-x)));
  const isLast = i16x8.eq(lanes, i16x8.splat(i16(min(8, width - 1 - x))));
  const middle = tonesAt(p);
  const above = tonesAt(up);
  const below = tonesAt(down);
  const upperLeft = v128.bitselect(above, tonesAt(up - 2), isFirst);
  const upperRight = v128.bitselect(above, tonesAt(up + 2), isLast);
  const lowerLeft = v128.bitselect(below, tonesAt(down - 2), isFirst);
  const lowerRight = v128.bitselect(below, tonesAt(down + 2), isLast);
  const left = v128.bitselect(middle, tonesAt(p - 2), isFirst);
  const right = v128.bitselect(middle, tonesAt(p + 2), isLast);
  const across = i16x8.add(
    i16x8.add(i16x8.sub(upperRight, upperLeft), i16x8.sub(lowerRight, lowerLeft)),
    i16x8.shl(i16x8.sub(right, left), 1),
  );
  const upright = i16x8.add(
    i16x8.add(i16x8.sub(lowerLeft, upperLeft), i16x8.sub(lowerRight, upperRight)),
    i16x8.shl(i16x8.sub(below, above), 1),
  );
  return sobelEnergies(across, upright, least);
}

/**
 * Marks of each pixel of the rows of one strip, u16 in a plane of the same stride: its tone, from the high byte of its certainty;
 * `edgeBit` where something more than `same` behind it, stored units, lies within `edgeReach` pixels to either side; `detailBit`
 * where the square of its gradient by Sobel's sums is above `leastEnergy`, levels squared.
 * nearSign: 1 or -1; 0 = unknown: then `edgeBit` means nothing.
 */
export function markDepthEdgesStrip(
  depthIndices: usize, certainties: usize, marks: usize, stride: i32, width: i32, height: i32, nearSign: i32, same: i32,
  leastEnergy: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const least = i16x8.splat(i16(same));
  const energy = i32x4.splat(leastEnergy);
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
      const up = y > 0 ? at - (usize(stride) << 1) : at;
      const down = y < height - 1 ? at + (usize(stride) << 1) : at;
      const detail = detailOf(certainties + at, certainties + up, certainties + down, x, width, energy);
      const mark = v128.or(
        tonesAt(certainties + at),
        v128.or(v128.and(isEdge, i16x8.splat(i16(edgeBit))), v128.and(detail, i16x8.splat(i16(detailBit)))),
      );
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
 * Depth indices of the map, rows of one strip, in a plane of the same stride; certainties, the low bytes, are lowered in place. marks: see
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
        const certainty = i32(load<u16>(certainties + p)) & 255;
        // What shows anything stays apart from what shows nothing.
        if (certainty > 0) store<u16>(certainties + p, u16(max(1, (certainty * (mapped >> 16)) / certaintyParts)));
      }
    }
  }
}

/** Which of eight pixels, `needed`, no detail of their depths surrounds: see the head of this file. */
// @ts-ignore: decorator
@inline
function oneSidedOf(
  depthIndices: usize, marks: usize, stride: i32, width: i32, height: i32, x: i32, y: i32, same: v128, needed: v128,
): v128 {
  const own = v128.load(depthIndices + ((usize(y * stride) + usize(x)) << 1));
  const lanes = i16x8.add(i16x8(0, 1, 2, 3, 4, 5, 6, 7), i16x8.splat(i16(x)));
  const details = i16x8.splat(i16(detailBit));
  // A bit for each ray that met detail.
  let met = i16x8.splat(0);
  for (let n = 0; n < 8; n++) {
    // Where the four along rows and columns met detail, no four neighbouring rays can have missed it.
    if (n == 4 && !v128.any_true(v128.andnot(needed, i16x8.eq(met, i16x8.splat(0x55))))) return i16x8.splat(0);
    // Counter-clockwise from the right, those along rows and columns first.
    const ray = n < 4 ? 2 * n : 2 * n - 7;
    const toX = ray == 2 || ray == 6 ? 0 : ray < 2 || ray == 7 ? 1 : -1;
    const toY = ray == 0 || ray == 4 ? 0 : ray < 4 ? -1 : 1;
    const steps = toX != 0 && toY != 0 ? diagonalSteps : ringRadius;
    let hit = i16x8.splat(0);
    // The gradient of a line is two pixels wide at least.
    for (let i = 2; i <= steps; i += 2) {
      const row = y + i * toY;
      if (row < 0 || row >= height) break;
      const columns = i16x8.add(lanes, i16x8.splat(i16(i * toX)));
      const inside = v128.and(i16x8.ge_s(columns, i16x8.splat(0)), i16x8.lt_s(columns, i16x8.splat(i16(width))));
      const p = (isize(row * stride) + isize(x + i * toX)) << 1;
      const shows = i16x8.eq(v128.and(v128.load(marks + p), details), details);
      const isSame = i16x8.le_u(apartOf(v128.load(depthIndices + p), own), same);
      hit = v128.or(hit, v128.and(v128.and(shows, isSame), inside));
      if (!v128.any_true(v128.andnot(needed, hit))) break;
    }
    const bit: i32 = 1 << ray;
    met = v128.or(met, v128.and(hit, i16x8.splat(i16(bit))));
  }
  const missed = v128.andnot(i16x8.splat(255), met);
  // The rays form a ring: their eight bits twice, and in them a run of four.
  const twice = v128.or(missed, i16x8.shl(missed, 8));
  const pairs = v128.and(twice, i16x8.shr_u(twice, 1));
  const fours = v128.and(pairs, i16x8.shr_u(pairs, 2));
  return v128.and(needed, i16x8.ne(fours, i16x8.splat(0)));
}

/**
 * Certainties of the map, 0 to 255, rows of one strip, in place: halved where detail to one side alone gives the depth. Tones above
 * them are cleared. depthIndices: of the map. marks: see `markDepthEdgesStrip`. same: farthest depth indices of one surface, stored units.
 */
export function halveOneSidedStrip(
  depthIndices: usize, marks: usize, certainties: usize, stride: i32, width: i32, height: i32, same: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const details = i16x8.splat(i16(detailBit));
  const farthest = i16x8.splat(i16(same));
  const zero = i16x8.splat(0);
  for (let y = strip * stripRows; y < y1; y++) {
    for (let x = 0; x < width; x += 8) {
      const at = (usize(y * stride) + usize(x)) << 1;
      const inside = insideOf(x, width);
      let certainty = v128.and(v128.load(certainties + at), i16x8.splat(255));
      const shows = i16x8.ne(v128.and(v128.load(marks + at), details), zero);
      const needed = v128.andnot(v128.and(inside, i16x8.ne(certainty, zero)), shows);
      if (v128.any_true(needed)) {
        const oneSided = oneSidedOf(depthIndices, marks, stride, width, height, x, y, farthest, needed);
        // What shows anything stays apart from what shows nothing.
        const halved = i16x8.max_u(i16x8.shr_u(certainty, 1), i16x8.splat(1));
        certainty = v128.bitselect(halved, certainty, oneSided);
      }
      storeWhere(certainties + at, certainty, inside);
    }
  }
}

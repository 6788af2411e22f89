// From focus curves to one surface, all in u16 planes.
//
// Depth indices (positions along the stack, fractional ordinals) are fixed-point numbers: (ordinal + 4) << fractionBits,
// 0 = unknown; the offset holds those before the first frame. Six fraction bits, 1/64 frame, hold stacks of a thousand
// frames, and longer stacks take fewer: `fractionBitsFor` in surface/depth-index.ts. Weights are inverse variances, 1/unit^2, times 64; a unit is a step of the usual length, in frames:
// `frameUnit` in surface/surface.ts. The planes of the focus-curve state (see focus.ts) are overwritten once they
// have served:
//   every level:  0 rise of the peak over noise, code steps;  1 its depth index;  2 its weight, bit 15 = the curve falls
//                 too far between two frames, bit 15 without a weight = the curve is truncated, bit 14 = the peak is the
//                 detail of something beside, see window-leaks.ts;  before that, 3 where curves are truncated, see
//                 frame-bounds.ts;  5, 7 rise and depth index of the second peak, 0 = none
//                 8 ordinal of the nearer peak where it stands out, see `frontOf`; 0 = none
//   level 0:      9 tones of the peaks of level 0, 10 of the best of levels 1 and 2, see `trackStrip`;  3, 4 work of labels.ts;  5, 7
//                 depth indices and weights of the surface;  9 then bit 15 of its weight, or 1 = truncated, 2 = leaks alone
//
// A level table holds three u32 a level, finest first: address of plane 0, bytes from plane to plane, stride.
import { indexOffset, maxStoredIndex, gapBit } from './constants';

// @ts-ignore: decorator
@inline
export function planeOf(levels: usize, level: i32, plane: usize): usize {
  const entry = levels + usize(level) * 12;
  return usize(load<u32>(entry)) + plane * usize(load<u32>(entry, 4));
}

// @ts-ignore: decorator
@inline
export function strideOf(levels: usize, level: i32): usize {
  return usize(load<u32>(levels + usize(level) * 12, 8));
}

/** Stored units of a depth index in a frame. */
// @ts-ignore: decorator
@inline
export function unitsPerFrame(fractionBits: i32): f32 {
  return f32(1 << fractionBits);
}

/** Length in frames, 1/64 of one, in stored units: exact for multiples of four, which all lengths here are. */
// @ts-ignore: decorator
@inline
export function unitsOf64ths(length: i32, fractionBits: i32): i32 {
  return length >> (6 - fractionBits);
}

// @ts-ignore: decorator
@inline
export function depthIndexAt(code: u16, fractionBits: i32): f32 {
  // 2^-fractionBits by its exponent: a division for every pixel would cost more.
  return f32(code) * reinterpret<f32>((127 - fractionBits) << 23) - indexOffset;
}

/** Stored depth indices of four pixels, whole numbers. */
// @ts-ignore: decorator
@inline
export function depthIndexCodes(depthIndices: v128, fractionBits: i32): v128 {
  const stored = v128.mul<f32>(v128.add<f32>(depthIndices, f32x4.splat(indexOffset)), f32x4.splat(unitsPerFrame(fractionBits)));
  const whole = v128.trunc_sat<i32>(v128.floor<f32>(v128.add<f32>(stored, f32x4.splat(0.5))));
  return i32x4.max_s(i32x4.splat(1), i32x4.min_s(i32x4.splat(maxStoredIndex), whole));
}

/** Four u16 beside each other. */
// @ts-ignore: decorator
@inline
export function fourU16(p: usize): v128 {
  return v128.extend_low<u16>(v128.load64_zero(p));
}

/** Four u16 beside each other, as floats. */
// @ts-ignore: decorator
@inline
export function fourOf(p: usize): v128 {
  return v128.convert<i32>(fourU16(p));
}

/** Which of the four columns from `column` on lie in the picture: what lies beyond it is not asked. */
// @ts-ignore: decorator
@inline
export function columnsInside(column: i32, width: i32): v128 {
  const columns = i32x4.add(i32x4.splat(column), i32x4(0, 1, 2, 3));
  return v128.and(i32x4.ge_s(columns, i32x4.splat(0)), i32x4.lt_s(columns, i32x4.splat(width)));
}

/** Four u16 from i32 lanes below 65536; columns past the width are left alone. */
// @ts-ignore: decorator
@inline
export function storeFour(p: usize, lanes: v128, x: i32, width: i32): void {
  if (x + 4 <= width) {
    v128.store64_lane(p, i16x8.shuffle(lanes, lanes, 0, 2, 4, 6, 0, 2, 4, 6), 0);
    return;
  }
  store<u16>(p, i32x4.extract_lane(lanes, 0));
  if (x + 1 < width) store<u16>(p, i32x4.extract_lane(lanes, 1), 2);
  if (x + 2 < width) store<u16>(p, i32x4.extract_lane(lanes, 2), 4);
}

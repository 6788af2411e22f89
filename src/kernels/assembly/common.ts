// Shared conventions of all kernels.
//
// A plane is a row-major array of one element type. Its pointer addresses pixel (0, 0); rows are `stride`
// elements apart, and at least `pad` elements before and after every row belong to it, so that filters may
// read past the ends once the ends have been filled. Three planes of a picture lie `planeBytes` apart.
// Sample values are 0..255 as float32 whatever the bit depth of the frames, so that thresholds mean the same.

/** Elements that every row owns on either side of its pixels. */
export const pad: i32 = 16;

/** 2^x for 0 <= x < 100, to 2e-6 of it: our own least-squares fit. Those of the library hold tables, which kernels cannot. */
// @ts-ignore: decorator
@inline
export function exp2(x: f32): f32 {
  const whole = i32(x);
  const t = x - f32(whole);
  const poly: f32 = 0.69314718 + t * (0.24021378 + t * (0.05562563 + t * (0.00925235 + t * 0.00175987)));
  return reinterpret<f32>((whole + 127) << 23) * (1 + t * poly);
}

/** The same of four numbers. */
// @ts-ignore: decorator
@inline
export function exp2Four(x: v128): v128 {
  const whole = v128.trunc_sat<i32>(x);
  const t = v128.sub<f32>(x, v128.convert<i32>(whole));
  let poly = v128.add<f32>(f32x4.splat(0.00925235), v128.mul<f32>(t, f32x4.splat(0.00175987)));
  poly = v128.add<f32>(f32x4.splat(0.05562563), v128.mul<f32>(t, poly));
  poly = v128.add<f32>(f32x4.splat(0.24021378), v128.mul<f32>(t, poly));
  poly = v128.add<f32>(f32x4.splat(0.69314718), v128.mul<f32>(t, poly));
  const power = i32x4.shl(i32x4.add(whole, i32x4.splat(127)), 23);
  return v128.mul<f32>(power, v128.add<f32>(f32x4.splat(1), v128.mul<f32>(t, poly)));
}

// @ts-ignore: decorator
@inline
export function sumOfFour(v: v128): i32 {
  return i32x4.extract_lane(v, 0) + i32x4.extract_lane(v, 1) + i32x4.extract_lane(v, 2) + i32x4.extract_lane(v, 3);
}

/** Which of eight columns from x on, a column of the row, lie in it. */
// @ts-ignore: decorator
@inline
export function insideOf(x: i32, width: i32): v128 {
  const lanes = i16x8(0, 1, 2, 3, 4, 5, 6, 7);
  return i16x8.lt_s(lanes, i16x8.splat(i16(min(8, width - x))));
}

// @ts-ignore: decorator
@inline
export function storeWhere(p: usize, values: v128, where: v128): void {
  v128.store(p, v128.bitselect(values, v128.load(p), where));
}

/** Index mirrored about the first and the last element without repeating them: -1 -> 1, n -> n - 2. */
// @ts-ignore: decorator
@inline
export function mirror(i: i32, n: i32): i32 {
  if (n == 1) return 0;
  let j = i;
  // Two reflections serve any reach below 2 n; kernels never reach further than 8.
  if (j < 0) j = -j;
  if (j >= n) j = 2 * n - 2 - j;
  return j < 0 ? 0 : j;
}

/** Fills eight elements beyond both ends of a float32 row by mirroring. */
// @ts-ignore: decorator
@inline
export function fillEnds(row: usize, width: i32): void {
  for (let i = 1; i <= 8; i++) {
    store<f32>(row - (usize(i) << 2), load<f32>(row + (usize(mirror(i, width)) << 2)));
    store<f32>(row + (usize(width - 1 + i) << 2), load<f32>(row + (usize(mirror(width - 1 + i, width)) << 2)));
  }
}

/**
 * Columns of output row y whose source lies inside the frame by `margin` pixels.
 * Source = (a x + b y + c, d x + e y + f), its last pixel at (lastColumn, lastRow); returns first in the low,
 * past-the-end in the high 32 bits.
 */
// @ts-ignore: decorator
@inline
export function reach(
  a: f64, b: f64, c: f64, d: f64, e: f64, f: f64,
  lastColumn: f64, lastRow: f64, margin: f64, y: i32, width: i32,
): u64 {
  // u grows with x (a > 0): a closed interval. v may rise or fall with x, or not depend on it.
  const uBase = b * f64(y) + c;
  let low = Math.ceil((margin - uBase) / a - 1e-9);
  let high = Math.floor((lastColumn - margin - uBase) / a + 1e-9);
  const vBase = e * f64(y) + f;
  const vLow = margin - vBase;
  const vHigh = lastRow - margin - vBase;
  if (Math.abs(d) < 1e-12) {
    if (vLow > 1e-9 || vHigh < -1e-9) return 0;
  } else {
    const x0 = (d > 0 ? vLow : vHigh) / d;
    const x1 = (d > 0 ? vHigh : vLow) / d;
    low = Math.max(low, Math.ceil(x0 - 1e-9));
    high = Math.min(high, Math.floor(x1 + 1e-9));
  }
  low = Math.max(low, 0);
  high = Math.min(high, f64(width - 1));
  if (high < low) return 0;
  return u64(u32(i32(low))) | (u64(u32(i32(high) + 1)) << 32);
}

/** Differences of eight u16, without sign. */
// @ts-ignore: decorator
@inline
export function apartOf(a: v128, b: v128): v128 {
  return v128.or(i16x8.sub_sat_u(a, b), i16x8.sub_sat_u(b, a));
}

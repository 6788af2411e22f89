// The 5-tap pyramid of Burt & Adelson (IEEE Trans. Commun. COM-31, 1983), a = 0.375: [1 4 6 4 1] / 16.
// Coarse pixel (i, j) lies at fine pixel (2 i, 2 j); sizes are halved rounding up; borders are mirrored.
import { fillEnds, mirror } from './common';

/**
 * A coarse row from five fine rows of one plane, whose ends are filled.
 * temp: a row of width + 32 floats, addressed at its pixel 0.
 */
// @ts-ignore: decorator
@inline
export function reduceRows(
  r0: usize, r1: usize, r2: usize, r3: usize, r4: usize, width: i32, temp: usize, out: usize, outWidth: i32,
): void {
  const six = f32x4.splat(6);
  const four = f32x4.splat(4);
  const unit = f32x4.splat(1.0 / 256);
  for (let x = -4; x < width + 4; x += 4) {
    const at = isize(x) << 2;
    const outer = v128.add<f32>(v128.load(r0 + at), v128.load(r4 + at));
    const inner = v128.add<f32>(v128.load(r1 + at), v128.load(r3 + at));
    const sum = v128.add<f32>(v128.add<f32>(outer, v128.mul<f32>(inner, four)), v128.mul<f32>(v128.load(r2 + at), six));
    v128.store(temp + at, sum);
  }
  for (let i = 0; i < outWidth; i += 4) {
    const p = temp + (isize(2 * i) << 2);
    const a = v128.load(p - 8);
    const b = v128.load(p + 8);
    const c = v128.load(p);
    const d = v128.load(p + 16);
    const e = v128.load(p + 24);
    const before = v128.shuffle<f32>(a, b, 0, 2, 4, 6); // 2i - 2
    const beforeOdd = v128.shuffle<f32>(a, b, 1, 3, 5, 7); // 2i - 1
    const here = v128.shuffle<f32>(c, d, 0, 2, 4, 6);
    const afterOdd = v128.shuffle<f32>(c, d, 1, 3, 5, 7);
    const after = v128.shuffle<f32>(b, e, 0, 2, 4, 6);
    const sum = v128.add<f32>(
      v128.add<f32>(v128.add<f32>(before, after), v128.mul<f32>(here, six)),
      v128.mul<f32>(v128.add<f32>(beforeOdd, afterOdd), four),
    );
    v128.store(out + (usize(i) << 2), v128.mul<f32>(sum, unit));
  }
  fillEnds(out, outWidth);
}

/**
 * Coarse row j from the fine rows 2 j - 2 .. 2 j + 2 of one plane.
 * fine: pointer to row `firstRow`, ends filled. temp: a row of width + 32 floats, addressed at its pixel 0.
 */
// @ts-ignore: decorator
@inline
function reduceRow(
  fine: usize, stride: i32, firstRow: i32, width: i32, height: i32,
  j: i32, temp: usize, out: usize, outWidth: i32,
): void {
  const rowBytes = usize(stride) << 2;
  const r0 = fine + usize(mirror(2 * j - 2, height) - firstRow) * rowBytes;
  const r1 = fine + usize(mirror(2 * j - 1, height) - firstRow) * rowBytes;
  const r2 = fine + usize(mirror(2 * j, height) - firstRow) * rowBytes;
  const r3 = fine + usize(mirror(2 * j + 1, height) - firstRow) * rowBytes;
  const r4 = fine + usize(mirror(2 * j + 2, height) - firstRow) * rowBytes;
  reduceRows(r0, r1, r2, r3, r4, width, temp, out, outWidth);
}

/**
 * The vertical half of the expansion to fine row y: coarse columns from..to-1 into temp.
 * coarse: pointer to row `firstRow`, ends filled.
 */
// @ts-ignore: decorator
@inline
export function expandColumns(
  coarse: usize, stride: i32, firstRow: i32, height: i32, y: i32, from: i32, to: i32, temp: usize,
): void {
  const rowBytes = usize(stride) << 2;
  const j = y >> 1;
  const here = coarse + usize(j - firstRow) * rowBytes;
  const after = coarse + usize(mirror(j + 1, height) - firstRow) * rowBytes;
  if (y & 1) {
    const half = f32x4.splat(0.5);
    for (let x = from; x < to; x += 4) {
      const at = isize(x) << 2;
      v128.store(temp + at, v128.mul<f32>(half, v128.add<f32>(v128.load(here + at), v128.load(after + at))));
    }
  } else {
    const before = coarse + usize(mirror(j - 1, height) - firstRow) * rowBytes;
    const eighth = f32x4.splat(0.125);
    const sixEighths = f32x4.splat(0.75);
    for (let x = from; x < to; x += 4) {
      const at = isize(x) << 2;
      const ends = v128.mul<f32>(eighth, v128.add<f32>(v128.load(before + at), v128.load(after + at)));
      v128.store(temp + at, v128.add<f32>(ends, v128.mul<f32>(sixEighths, v128.load(here + at))));
    }
  }
}

/** Four expanded pixels 2 i .. 2 i + 3 from a row of expandColumns: two coarse pixels i, i + 1. */
// @ts-ignore: decorator
@inline
export function expandFour(temp: usize, i: i32): v128 {
  const p = temp + (isize(i) << 2);
  const t = v128.load(p - 4); // i - 1, i, i + 1, i + 2
  const here = v128.shuffle<f32>(t, t, 1, 1, 2, 2);
  const before = v128.shuffle<f32>(t, t, 0, 1, 1, 2);
  const after = v128.shuffle<f32>(t, t, 2, 2, 3, 3);
  // even: (before + 6 here + after) / 8; odd: (here + after) / 2, with `before` = here there
  const even = f32x4(0.125, 0, 0.125, 0);
  const centre = f32x4(0.75, 0.5, 0.75, 0.5);
  const next = f32x4(0.125, 0.5, 0.125, 0.5);
  return v128.add<f32>(v128.add<f32>(v128.mul<f32>(before, even), v128.mul<f32>(here, centre)), v128.mul<f32>(after, next));
}

/** Coarse rows of one strip for `planes` planes of a level kept in memory as a whole. */
export function reduceStrip(
  fine: usize, stride: i32, planeBytes: usize, width: i32, height: i32,
  coarse: usize, coarseStride: i32, coarsePlaneBytes: usize,
  planes: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const coarseWidth = (width + 1) >> 1;
  const coarseHeight = (height + 1) >> 1;
  const j1 = min(coarseHeight, (strip + 1) * stripRows);
  const temp = scratch + 64;
  for (let j = strip * stripRows; j < j1; j++) {
    for (let c = 0; c < planes; c++) {
      reduceRow(
        fine + usize(c) * planeBytes, stride, 0, width, height, j, temp,
        coarse + usize(c) * coarsePlaneBytes + (usize(j * coarseStride) << 2), coarseWidth,
      );
    }
  }
}

/**
 * A frame reduced to half size in its own grid, interleaved RGB in, RGBx floats 0..255 times the gains out (level 1, rows
 * coarseWidth * 16 bytes): one strip of coarse rows. scratch: 3 (width + 8) sums of 4 bytes.
 */
export function reduceFrameStrip(
  source: usize, bits: i32, width: i32, height: i32, gainR: f32, gainG: f32, gainB: f32,
  out: usize, stripRows: i32, strip: i32, scratch: usize,
): void {
  const gain = f32x4(gainR, gainG, gainB, 0);
  const coarseWidth = (width + 1) >> 1;
  const coarseHeight = (height + 1) >> 1;
  const j1 = min(coarseHeight, (strip + 1) * stripRows);
  const elements = width * 3;
  const rowBytes = usize(elements) * (bits == 8 ? 1 : 2);
  for (let j = strip * stripRows; j < j1; j++) {
    const r0 = source + usize(mirror(2 * j - 2, height)) * rowBytes;
    const r1 = source + usize(mirror(2 * j - 1, height)) * rowBytes;
    const r2 = source + usize(mirror(2 * j, height)) * rowBytes;
    const r3 = source + usize(mirror(2 * j + 1, height)) * rowBytes;
    const r4 = source + usize(mirror(2 * j + 2, height)) * rowBytes;
    let o = out + ((usize(j) * usize(coarseWidth)) << 4);
    if (bits == 8) {
      // Sums of 16 x 255 = 4080 down and 16 x 4080 = 65280 across stay within 16 bits.
      const sums = scratch + 64;
      for (let i = 0; i < elements; i += 8) {
        const at = usize(i);
        const outer = i16x8.add(v128.load8x8_u(r0 + at), v128.load8x8_u(r4 + at));
        const inner = i16x8.add(v128.load8x8_u(r1 + at), v128.load8x8_u(r3 + at));
        const centre = v128.load8x8_u(r2 + at);
        const twice = i16x8.add(inner, centre); // 4 inner + 6 centre = 4 (inner + centre) + 2 centre
        v128.store(sums + (at << 1), i16x8.add(i16x8.add(outer, i16x8.shl(twice, 2)), i16x8.add(centre, centre)));
      }
      for (let i = -2; i < 0; i++) copyPixel16(sums, mirror(i, width), i);
      for (let i = width; i < width + 3; i++) copyPixel16(sums, mirror(i, width), i);
      const unit = f32x4(1.0 / 256, 1.0 / 256, 1.0 / 256, 0);
      for (let i = 0; i < coarseWidth; i++) {
        const p = sums + isize(i * 12);
        const outer = i16x8.add(v128.load64_zero(p - 12), v128.load64_zero(p + 12));
        const inner = i16x8.add(v128.load64_zero(p - 6), v128.load64_zero(p + 6));
        const centre = v128.load64_zero(p);
        const sum = i16x8.add(i16x8.add(outer, i16x8.shl(i16x8.add(inner, centre), 2)), i16x8.add(centre, centre));
        v128.store(o, v128.mul<f32>(v128.mul<f32>(v128.convert<i32>(v128.extend_low<u16>(sum)), unit), gain));
        o += 16;
      }
    } else {
      // 16 x 65535 down needs 20 bits: 32-bit sums, 16 x that 24 bits, exact in float too.
      const sums = scratch + 64;
      for (let i = 0; i < elements; i += 4) {
        const at = usize(i) << 1;
        const outer = i32x4.add(v128.load16x4_u(r0 + at), v128.load16x4_u(r4 + at));
        const inner = i32x4.add(v128.load16x4_u(r1 + at), v128.load16x4_u(r3 + at));
        const centre = v128.load16x4_u(r2 + at);
        v128.store(sums + (usize(i) << 2), i32x4.add(i32x4.add(outer, i32x4.shl(i32x4.add(inner, centre), 2)), i32x4.add(centre, centre)));
      }
      for (let i = -2; i < 0; i++) copyPixel32(sums, mirror(i, width), i);
      for (let i = width; i < width + 3; i++) copyPixel32(sums, mirror(i, width), i);
      const unit = f32x4(1.0 / 65792, 1.0 / 65792, 1.0 / 65792, 0);
      for (let i = 0; i < coarseWidth; i++) {
        const p = sums + isize(i * 24);
        const outer = i32x4.add(v128.load(p - 24), v128.load(p + 24));
        const inner = i32x4.add(v128.load(p - 12), v128.load(p + 12));
        const centre = v128.load(p);
        const sum = i32x4.add(i32x4.add(outer, i32x4.shl(i32x4.add(inner, centre), 2)), i32x4.add(centre, centre));
        v128.store(o, v128.mul<f32>(v128.mul<f32>(v128.convert<i32>(sum), unit), gain));
        o += 16;
      }
    }
  }
}

// @ts-ignore: decorator
@inline
function copyPixel16(sums: usize, from: i32, to: i32): void {
  for (let p = 0; p < 3; p++) store<u16>(sums + isize((to * 3 + p) * 2), load<u16>(sums + isize((from * 3 + p) * 2)));
}

// @ts-ignore: decorator
@inline
function copyPixel32(sums: usize, from: i32, to: i32): void {
  for (let p = 0; p < 3; p++) store<u32>(sums + isize((to * 3 + p) * 4), load<u32>(sums + isize((from * 3 + p) * 4)));
}

// The 5-tap pyramid of Burt & Adelson (IEEE Trans. Commun. COM-31, 1983), a = 0.375: [1 4 6 4 1] / 16.
// Coarse pixel (i, j) lies at fine pixel (2 i, 2 j); sizes are halved rounding up; borders are mirrored.
import { fillEnds, mirror } from './common';
import { gainedCurve, pixelLight } from './light';

/** [1 4 6 4 1] of five rows whose ends are filled, four pixels of the ends included. */
// @ts-ignore: decorator
@inline
export function sumRows(r0: usize, r1: usize, r2: usize, r3: usize, r4: usize, width: i32, out: usize): void {
  for (let x = -4; x < width + 4; x += 4) {
    const at = isize(x) << 2;
    const outer = v128.add<f32>(v128.load(r0 + at), v128.load(r4 + at));
    const inner = v128.add<f32>(v128.load(r1 + at), v128.load(r3 + at));
    const sum = v128.add<f32>(outer, v128.mul<f32>(inner, f32x4.splat(4)));
    v128.store(out + at, v128.add<f32>(sum, v128.mul<f32>(v128.load(r2 + at), f32x4.splat(6))));
  }
}

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
  sumRows(r0, r1, r2, r3, r4, width, temp);
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
 * A frame reduced to half size in its own grid: interleaved RGB samples in, times the gains and decoded by the curve (see
 * light.ts), RGBx light 0..255 as floats out (level 1, rows coarseWidth * 16 bytes): one strip of coarse rows.
 * scratch: five rows of the output.
 */
export function reduceFrameStrip(
  source: usize, bits: i32, width: i32, height: i32, gainR: f32, gainG: f32, gainB: f32,
  curve1: f32, curve2: f32, curve3: f32,
  out: usize, stripRows: i32, strip: i32, scratch: usize,
): void {
  // The last factor of both directions, 1 / 256, is that of the light.
  const c1 = gainedCurve(bits, gainR, gainG, gainB, curve1 / 256, 1);
  const c2 = gainedCurve(bits, gainR, gainG, gainB, curve2 / 256, 2);
  const c3 = gainedCurve(bits, gainR, gainG, gainB, curve3 / 256, 3);
  const coarseWidth = (width + 1) >> 1;
  const coarseHeight = (height + 1) >> 1;
  const rowBytes = usize(coarseWidth) << 4;
  const j0 = strip * stripRows;
  const j1 = min(coarseHeight, j0 + stripRows);
  // Each source row is halved once and stays for the three coarse rows that ask for it, row v in v + 5 modulo 5.
  let next = 2 * j0 - 2;
  for (let j = j0; j < j1; j++) {
    for (; next <= 2 * j + 2; next++) {
      halveRow(source, bits, width, mirror(next, height), c1, c2, c3, scratch + usize((next + 5) % 5) * rowBytes, coarseWidth);
    }
    const r0 = scratch + usize((2 * j + 3) % 5) * rowBytes;
    const r1 = scratch + usize((2 * j + 4) % 5) * rowBytes;
    const r2 = scratch + usize((2 * j) % 5) * rowBytes;
    const r3 = scratch + usize((2 * j + 1) % 5) * rowBytes;
    const r4 = scratch + usize((2 * j + 2) % 5) * rowBytes;
    const o = out + usize(j) * rowBytes;
    for (let at: usize = 0; at < rowBytes; at += 16) {
      v128.store(o + at, binomial(v128.load(r0 + at), v128.load(r1 + at), v128.load(r2 + at), v128.load(r3 + at), v128.load(r4 + at)));
    }
  }
}

/** a + 4 b + 6 c + 4 d + e. */
// @ts-ignore: decorator
@inline
function binomial(a: v128, b: v128, c: v128, d: v128, e: v128): v128 {
  const four = f32x4.splat(4);
  const twice = v128.add<f32>(c, c);
  return v128.add<f32>(v128.add<f32>(a, e), v128.add<f32>(v128.mul<f32>(four, v128.add<f32>(v128.add<f32>(b, d), c)), twice));
}

/** Light of every other pixel of row v, averaged along the row. */
// @ts-ignore: decorator
@inline
function halveRow(source: usize, bits: i32, width: i32, v: i32, c1: v128, c2: v128, c3: v128, out: usize, coarseWidth: i32): void {
  const row = source + usize(v) * usize(width) * (bits == 8 ? 3 : 6);
  let a = pixelLight(row, bits, mirror(-2, width), c1, c2, c3);
  let b = pixelLight(row, bits, mirror(-1, width), c1, c2, c3);
  let c = pixelLight(row, bits, 0, c1, c2, c3);
  const inner = (width - 1) >> 1;
  for (let i = 0; i < inner; i++) {
    const d = pixelLight(row, bits, 2 * i + 1, c1, c2, c3);
    const e = pixelLight(row, bits, 2 * i + 2, c1, c2, c3);
    v128.store(out + (usize(i) << 4), binomial(a, b, c, d, e));
    a = c;
    b = d;
    c = e;
  }
  for (let i = inner; i < coarseWidth; i++) {
    const d = pixelLight(row, bits, mirror(2 * i + 1, width), c1, c2, c3);
    const e = pixelLight(row, bits, mirror(2 * i + 2, width), c1, c2, c3);
    v128.store(out + (usize(i) << 4), binomial(a, b, c, d, e));
  }
}

// From accumulated pyramid to picture: out_l = acc_l / sum_l + expand(out_l+1).
import { fillEnds } from './common';
import { expandColumns, expandFour } from './pyramid';

/**
 * One row of one plane: addresses of its accumulator, of its sum of weights and of where it goes; coarse 0 = coarsest level. A
 * pixel that no frame reached gets coefficient 0. temp: a row of width + 64 floats.
 */
// @ts-ignore: decorator
@inline
function collapseRow(
  acc: usize, sum: usize, coarse: usize, coarseStride: i32, y: i32, width: i32, height: i32, temp: usize, out: usize,
): void {
  const tiny = f32x4.splat(1e-12);
  if (coarse != 0) expandColumns(coarse, coarseStride, 0, (height + 1) >> 1, y, -4, ((width + 1) >> 1) + 4, temp);
  for (let x = 0; x < width; x += 4) {
    const at = usize(x) << 2;
    let value = v128.div<f32>(v128.load(acc + at), v128.pmax<f32>(v128.load(sum + at), tiny));
    if (coarse != 0) value = v128.add<f32>(value, expandFour(temp, x >> 1));
    v128.store(out + at, value);
  }
}

/** Rows of one strip of a level, written over acc_l. */
export function collapseStrip(
  acc: usize, stride: i32, accBytes: usize, width: i32, height: i32, sum: usize,
  coarse: usize, coarseStride: i32, coarseBytes: usize,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const temp = scratch + 64;
  for (let y = strip * stripRows; y < y1; y++) {
    const row = usize(y * stride) << 2;
    for (let p = 0; p < 3; p++) {
      const o = acc + usize(p) * accBytes + row;
      collapseRow(o, sum + row, coarse == 0 ? 0 : coarse + usize(p) * coarseBytes, coarseStride, y, width, height, temp, o);
      fillEnds(o, width);
    }
  }
}

/**
 * Rows of one strip of the finest level, collapsed and quantised at once, so that the collapsed level never reaches memory: from
 * 0..255 to interleaved RGB of 8 or 16 bits, rounded and clamped. scratch: four rows of width + 64 floats.
 */
export function quantiseStrip(
  acc: usize, stride: i32, accBytes: usize, width: i32, height: i32, sum: usize,
  coarse: usize, coarseStride: i32, coarseBytes: usize,
  out: usize, bits: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const temp = scratch + 64;
  const rowBytes = usize(width + 64) << 2;
  const planes = temp + rowBytes;
  const perVector = bits == 8 ? 16 : 8;
  const pixelBytes: usize = bits == 8 ? 3 : 6;
  for (let y = strip * stripRows; y < y1; y++) {
    const row = usize(y * stride) << 2;
    for (let p = 0; p < 3; p++) {
      collapseRow(
        acc + usize(p) * accBytes + row, sum + row, coarse == 0 ? 0 : coarse + usize(p) * coarseBytes, coarseStride, y, width, height,
        temp, planes + usize(p) * rowBytes,
      );
    }
    let o = out + usize(y) * usize(width) * pixelBytes;
    let x = 0;
    for (; x + perVector <= width; x += perVector, o += 48) {
      const at = planes + (usize(x) << 2);
      if (bits == 8) storeBytes(o, sixteenBytes(at), sixteenBytes(at + rowBytes), sixteenBytes(at + 2 * rowBytes));
      else storeWords(o, eightWords(at, 257, 65535), eightWords(at + rowBytes, 257, 65535), eightWords(at + 2 * rowBytes, 257, 65535));
    }
    for (; x < width; x++) {
      for (let p = 0; p < 3; p++) {
        const v = v128.load32_splat(planes + usize(p) * rowBytes + (usize(x) << 2));
        if (bits == 8) store<u8>(o++, i32x4.extract_lane(quantised(v, 1, 255), 0));
        else {
          store<u16>(o, i32x4.extract_lane(quantised(v, 257, 65535), 0));
          o += 2;
        }
      }
    }
  }
}

// @ts-ignore: decorator
@inline
function quantised(values: v128, unit: f32, top: f32): v128 {
  const scaled = v128.add<f32>(v128.mul<f32>(values, f32x4.splat(unit)), f32x4.splat(0.5));
  return v128.trunc_sat<i32>(v128.pmin<f32>(f32x4.splat(top), v128.pmax<f32>(f32x4.splat(0), scaled)));
}

// @ts-ignore: decorator
@inline
function eightWords(from: usize, unit: f32, top: f32): v128 {
  return i16x8.narrow_i32x4_u(quantised(v128.load(from), unit, top), quantised(v128.load(from, 16), unit, top));
}

// @ts-ignore: decorator
@inline
function sixteenBytes(from: usize): v128 {
  return i8x16.narrow_i16x8_u(eightWords(from, 1, 255), eightWords(from + 32, 1, 255));
}

/** Sixteen pixels, of three planes. */
// @ts-ignore: decorator
@inline
function storeBytes(o: usize, r: v128, g: v128, b: v128): void {
  const first = i8x16.shuffle(r, g, 0, 16, 0, 1, 17, 0, 2, 18, 0, 3, 19, 0, 4, 20, 0, 5);
  v128.store(o, i8x16.shuffle(first, b, 0, 1, 16, 3, 4, 17, 6, 7, 18, 9, 10, 19, 12, 13, 20, 15));
  const second = i8x16.shuffle(r, g, 21, 0, 6, 22, 0, 7, 23, 0, 8, 24, 0, 9, 25, 0, 10, 26);
  v128.store(o, i8x16.shuffle(second, b, 0, 21, 2, 3, 22, 5, 6, 23, 8, 9, 24, 11, 12, 25, 14, 15), 16);
  const third = i8x16.shuffle(r, g, 0, 11, 27, 0, 12, 28, 0, 13, 29, 0, 14, 30, 0, 15, 31, 0);
  v128.store(o, i8x16.shuffle(third, b, 26, 1, 2, 27, 4, 5, 28, 7, 8, 29, 10, 11, 30, 13, 14, 31), 32);
}

/** Eight pixels, of three planes. */
// @ts-ignore: decorator
@inline
function storeWords(o: usize, r: v128, g: v128, b: v128): void {
  const first = i16x8.shuffle(r, g, 0, 8, 0, 1, 9, 0, 2, 10);
  v128.store(o, i16x8.shuffle(first, b, 0, 1, 8, 3, 4, 9, 6, 7));
  const second = i16x8.shuffle(r, g, 0, 3, 11, 0, 4, 12, 0, 5);
  v128.store(o, i16x8.shuffle(second, b, 10, 1, 2, 11, 4, 5, 12, 7), 16);
  const third = i16x8.shuffle(r, g, 13, 0, 6, 14, 0, 7, 15, 0);
  v128.store(o, i16x8.shuffle(third, b, 0, 13, 2, 3, 14, 5, 6, 15), 32);
}

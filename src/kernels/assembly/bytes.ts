// Steps over a picture that lies elsewhere, piece by piece: see `piece-kernels.ts`; and of memory itself.
import { pad } from './common';

/**
 * Rows of a PNG as they are deflated: filter type 2 ('up' of the PNG specification, 9.2), then, modulo 256,
 *   out(y, x) = bytes(y, x) - bytes(y - 1, x),
 * bytes of 16-bit samples with the most significant one first. samples: rows + 1 rows of rowBytes, the one above first.
 * Up to 15 bytes behind the last row are written.
 */
export function filterRows(samples: usize, rowBytes: i32, rows: i32, bits: i32, out: usize): void {
  let above = samples;
  let p = out;
  for (let y = 0; y < rows; y++) {
    const here = above + usize(rowBytes);
    store<u8>(p++, 2);
    if (bits == 8) {
      for (let x: usize = 0; x < usize(rowBytes); x += 16) {
        v128.store(p + x, v128.sub<i8>(v128.load(here + x), v128.load(above + x)));
      }
    } else {
      for (let x: usize = 0; x < usize(rowBytes); x += 16) {
        const change = v128.sub<i8>(v128.load(here + x), v128.load(above + x));
        v128.store(p + x, v128.shuffle<u8>(change, change, 1, 0, 3, 2, 5, 4, 7, 6, 9, 8, 11, 10, 13, 12, 15, 14));
      }
    }
    p += usize(rowBytes);
    above = here;
  }
}

/** The longest run of bytes whose sums stay below 2^32 without a modulo (RFC 1950), in whole vectors. */
const adlerRun: i32 = 5552;

/**
 * Adler-32 (RFC 1950, 9) of the bytes, continued from `adler`. With n bytes b(i) in a run,
 *   low += sum of b(i),   high += n low + sum of (n - i) b(i),   i from 0.
 */
export function adlerOf(bytes: usize, count: i32, adler: u32): u32 {
  let low = adler & 0xffff;
  let high = adler >>> 16;
  const first = i16x8(16, 15, 14, 13, 12, 11, 10, 9);
  const second = i16x8(8, 7, 6, 5, 4, 3, 2, 1);
  let p = bytes;
  let left = count;
  while (left > 0) {
    const run = min(left, adlerRun);
    left -= run;
    let sums = i32x4.splat(0);
    let before = i32x4.splat(0);
    let weighted = i32x4.splat(0);
    const vectors = run & ~15;
    for (const end = p + usize(vectors); p < end; p += 16) {
      const b = v128.load(p);
      before = v128.add<i32>(before, sums);
      sums = v128.add<i32>(sums, i32x4.extadd_pairwise_i16x8_u(i16x8.extadd_pairwise_i8x16_u(b)));
      const near = i32x4.dot_i16x8_s(i16x8.extend_low_i8x16_u(b), first);
      const far = i32x4.dot_i16x8_s(i16x8.extend_high_i8x16_u(b), second);
      weighted = v128.add<i32>(weighted, v128.add<i32>(near, far));
    }
    high += u32(vectors) * low + (addLanes(before) << 4) + addLanes(weighted);
    low += addLanes(sums);
    for (let i = vectors; i < run; i++, p++) {
      low += load<u8>(p);
      high += low;
    }
    low %= 65521;
    high %= 65521;
  }
  return (high << 16) | low;
}

// @ts-ignore: decorator
@inline
function addLanes(v: v128): u32 {
  return (
    u32(i32x4.extract_lane(v, 0)) + u32(i32x4.extract_lane(v, 1)) +
    (u32(i32x4.extract_lane(v, 2)) + u32(i32x4.extract_lane(v, 3)))
  );
}

/**
 * Numbers of the samples 0..count-1 that are larger by `excess` or more than those `aside` before and behind them, as u32
 * at `out`, rising; returns how many. `samples` is the address of sample 0; up to 15 bytes behind sample count - 1 + aside
 * are read.
 */
export function peakSamples(samples: usize, bits: i32, count: i32, aside: i32, excess: i32, out: usize): i32 {
  const bytes: usize = bits == 8 ? 1 : 2;
  const away = usize(aside) * bytes;
  const perVector: i32 = bits == 8 ? 16 : 8;
  const needed = bits == 8 ? i8x16.splat(i8(excess)) : i16x8.splat(i16(excess));
  let found: i32 = 0;
  let p = samples;
  for (let i = 0; i < count; i += perVector, p += 16) {
    const here = v128.load(p);
    let bits16: u32;
    if (bits == 8) {
      const over = v128.min<u8>(
        i8x16.sub_sat_u(here, v128.load(p - away)),
        i8x16.sub_sat_u(here, v128.load(p + away)),
      );
      const isOver = v128.eq<i8>(v128.max<u8>(over, needed), over);
      if (!v128.any_true(isOver)) continue;
      bits16 = i8x16.bitmask(isOver);
    } else {
      const over = v128.min<u16>(
        i16x8.sub_sat_u(here, v128.load(p - away)),
        i16x8.sub_sat_u(here, v128.load(p + away)),
      );
      const isOver = v128.eq<i16>(v128.max<u16>(over, needed), over);
      if (!v128.any_true(isOver)) continue;
      bits16 = i16x8.bitmask(isOver);
    }
    for (; bits16 != 0; bits16 &= bits16 - 1) {
      const sample = i + i32(ctz(bits16));
      if (sample >= count) break;
      store<u32>(out + (usize(found++) << 2), sample);
    }
  }
  return found;
}

/** Fills bytes with a value: several times as fast as what JavaScript has for memory that threads share. */
export function fillBytes(from: usize, count: usize, value: i32): void {
  memory.fill(from, u8(value), count);
}

/** Zeros in planes of 32-bit elements, row ends included: rows of one strip. */
export function clearStrip(
  out: usize, stride: i32, planeBytes: usize, planes: i32, height: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const y0 = strip * stripRows;
  const rows = min(height, y0 + stripRows) - y0;
  const first = out + (usize(y0) * usize(stride) << 2) - (usize(pad) << 2);
  for (let plane = 0; plane < planes; plane++) {
    memory.fill(first + usize(plane) * planeBytes, 0, usize(rows) * usize(stride) << 2);
  }
}

/** How many of `count` elements of 16 bits are not zero. Up to 14 bytes behind them are read. */
export function countTold(from: usize, count: i32): i32 {
  const zero = i16x8.splat(0);
  let told = count;
  let p = from;
  let left = count;
  for (; left >= 8; left -= 8, p += 16) told -= popcnt(i16x8.bitmask(i16x8.eq(v128.load(p), zero)));
  if (left > 0) told -= popcnt(i16x8.bitmask(i16x8.eq(v128.load(p), zero)) & ((1 << left) - 1));
  return told;
}

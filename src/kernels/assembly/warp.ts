// Resampling of a frame into the anchor's framing.
//
//   out(x, y) = sum over 6 x 6 taps of gain * source(u + i, v + j) * t(i) * t(j),
//   u = a x + b y + c,  v = d x + e y + f          (output pixel -> source pixel, centres at integers)
//
// in two passes: along the source rows to the output's columns, then down the columns. Beyond its edges the
// frame continues with its edge pixels. Taps come from a table of 512 phases x 8 floats (6 used), so a
// position is kept to 1/512 px. Source: interleaved RGB of 8 or 16 bits, or RGBx of 32-bit floats;
// output: three planes, 0..255.
import { fillEnds } from './common';

const tapPhaseShift: i32 = 23; // 32 fraction bits - 9 bits of phase
const edge: i32 = 12;

/** Bytes of a source row. */
// @ts-ignore: decorator
@inline
export function sourceRowBytes(bits: i32, width: i32): usize {
  return usize(width) * (bits == 8 ? 3 : bits == 16 ? 6 : 16);
}

/**
 * Columns from..to-1 of a source row (beyond the edges: the edge pixels) as RGBx floats at `out`.
 */
// @ts-ignore: decorator
@inline
function convertRow(source: usize, bits: i32, width: i32, from: i32, to: i32, gain: v128, out: usize): void {
  const low = max(from, 0);
  const high = min(to, width);
  let o = out + (usize(low - from) << 4);
  if (bits == 8) {
    let x = low;
    for (; x + 4 <= high; x += 4) {
      const four = v128.load(source + usize(x * 3));
      const q0 = i8x16.swizzle(four, i8x16(0, -1, -1, -1, 1, -1, -1, -1, 2, -1, -1, -1, -1, -1, -1, -1));
      const q1 = i8x16.swizzle(four, i8x16(3, -1, -1, -1, 4, -1, -1, -1, 5, -1, -1, -1, -1, -1, -1, -1));
      const q2 = i8x16.swizzle(four, i8x16(6, -1, -1, -1, 7, -1, -1, -1, 8, -1, -1, -1, -1, -1, -1, -1));
      const q3 = i8x16.swizzle(four, i8x16(9, -1, -1, -1, 10, -1, -1, -1, 11, -1, -1, -1, -1, -1, -1, -1));
      v128.store(o, v128.mul<f32>(v128.convert<i32>(q0), gain));
      v128.store(o, v128.mul<f32>(v128.convert<i32>(q1), gain), 16);
      v128.store(o, v128.mul<f32>(v128.convert<i32>(q2), gain), 32);
      v128.store(o, v128.mul<f32>(v128.convert<i32>(q3), gain), 48);
      o += 64;
    }
    for (; x < high; x++) {
      const q = v128.extend_low<u16>(v128.extend_low<u8>(v128.load32_zero(source + usize(x * 3))));
      v128.store(o, v128.mul<f32>(v128.convert<i32>(q), gain));
      o += 16;
    }
  } else if (bits == 16) {
    for (let x = low; x < high; x++) {
      const q = v128.extend_low<u16>(v128.load64_zero(source + usize(x * 6)));
      v128.store(o, v128.mul<f32>(v128.convert<i32>(q), gain));
      o += 16;
    }
  } else {
    for (let x = low; x < high; x++) {
      v128.store(o, v128.mul<f32>(v128.load(source + (usize(x) << 4)), gain));
      o += 16;
    }
  }
  if (low > from) {
    const first = v128.load(out + (usize(low - from) << 4));
    for (let x = from; x < low; x++) v128.store(out + (usize(x - from) << 4), first);
  }
  if (to > high) {
    const last = v128.load(o - 16);
    for (let x = high; x < to; x++) {
      v128.store(o, last);
      o += 16;
    }
  }
}

/** Gains as a vector; 16-bit samples come down to 0..255, floats are there already. */
// @ts-ignore: decorator
@inline
export function gainOf(bits: i32, r: f32, g: f32, b: f32): v128 {
  const unit: f32 = bits == 16 ? 1.0 / 257.0 : 1;
  return f32x4(r * unit, g * unit, b * unit, 0);
}

/**
 * Rows y0..y1-1, columns x0..x1-1 of the warped picture into planes whose pixel (x0, y0) is at `out`; up to
 * three columns more are written. The block's source must overlap the frame by at least a pixel.
 * scratch: (2 ((columns + 2) a + 26) + rows (columns + 4)) * 16 bytes with rows = source rows reached + 7.
 */
// @ts-ignore: decorator
@inline
export function warpBlock(
  source: usize, bits: i32, sourceWidth: i32, sourceHeight: i32, gain: v128,
  a: f64, b: f64, c: f64, d: f64, e: f64, f: f64, taps: usize,
  out: usize, stride: i32, planeBytes: usize, x0: i32, x1: i32, y0: i32, y1: i32,
  scratch: usize,
): void {
  const columns = x1 - x0;
  const bytes = sourceRowBytes(bits, sourceWidth);

  // Source rows reached by the block: v is linear, so its extremes are at the corners.
  const va = d * f64(x0) + e * f64(y0) + f;
  const vb = d * f64(x0) + e * f64(y1 - 1) + f;
  const vd = d * f64(columns - 1);
  const vMin = Math.min(Math.min(va, vb), Math.min(va + vd, vb + vd));
  const vMax = Math.max(Math.max(va, vb), Math.max(va + vd, vb + vd));
  let first = i32(Math.floor(vMin)) - 2;
  let last = i32(Math.floor(vMax + 1.0 / 1024)) + 3;
  first = max(-8, min(first, sourceHeight + 2));
  last = min(sourceHeight + 7, max(last, first + 5));

  // With y eliminated, u is linear in x and the source row v.
  const slope = a - (b * d) / e;
  const ua = slope * f64(x0) + (b / e) * (f64(first) - f) + c;
  const ub = slope * f64(x0) + (b / e) * (f64(last) - f) + c;
  let left = i32(Math.floor(Math.min(ua, ub))) - 3;
  let right = i32(Math.floor(Math.max(ua, ub) + slope * f64(columns))) + 5;
  left = max(-edge, min(left, sourceWidth - 1));
  right = min(sourceWidth + edge, max(right, left + 8));

  const converted = scratch;
  const convertedAfter = converted + (usize(right - left + 2) << 4);
  const rows = convertedAfter + (usize(right - left + 2) << 4);
  // Floats that no gain changes are read where they lie, but at the frame's edges.
  const isReady = bits == 32 && left >= 0 && right <= sourceWidth && !v128.any_true(v128.ne<f32>(gain, f32x4(1, 1, 1, 0)));
  const rowBytes = usize(columns + 4) << 4;
  const step = i64(slope * 4294967296.0);
  for (let v = first; v <= last; v += 2) {
    // An odd last row has one after it that nothing reads.
    let row = source + usize(min(max(v, 0), sourceHeight - 1)) * bytes;
    let rowAfter = source + usize(min(max(v + 1, 0), sourceHeight - 1)) * bytes;
    if (isReady) {
      row += usize(left) << 4;
      rowAfter += usize(left) << 4;
    } else {
      convertRow(row, bits, sourceWidth, left, right, gain, converted);
      convertRow(rowAfter, bits, sourceWidth, left, right, gain, convertedAfter);
      row = converted;
      rowAfter = convertedAfter;
    }
    const o = rows + usize(v - first) * rowBytes;
    let position = fixed(slope * f64(x0) + (b / e) * (f64(v) - f) + c);
    let after = fixed(slope * f64(x0) + (b / e) * (f64(v + 1) - f) + c);
    if (position == after) {
      // Where the frame is not rolled, rows lie alike, and two of them share their taps.
      for (let x = 0; x < columns; x++) {
        const column = usize(min(max(i32(position >> 32) - 2, left), right - 6) - left) << 4;
        const t = tapsAt(taps, position);
        const t0 = v128.load32_splat(t);
        const t1 = v128.load32_splat(t, 4);
        const t2 = v128.load32_splat(t, 8);
        const t3 = v128.load32_splat(t, 12);
        const t4 = v128.load32_splat(t, 16);
        const t5 = v128.load32_splat(t, 20);
        const at = o + (usize(x) << 4);
        v128.store(at, across(row + column, t0, t1, t2, t3, t4, t5));
        v128.store(at + rowBytes, across(rowAfter + column, t0, t1, t2, t3, t4, t5));
        position += step;
      }
    } else {
      acrossRow(row, position, step, left, right, columns, taps, o);
      acrossRow(rowAfter, after, step, left, right, columns, taps, o + rowBytes);
    }
  }

  // Down the columns, four pixels at a time, into planes.
  const dStep = i64(d * 4294967296.0);
  for (let y = y0; y < y1; y++) {
    let position = fixed(d * f64(x0) + e * f64(y) + f);
    const o = out + (usize((y - y0) * stride) << 2);
    for (let x = 0; x < columns; x += 4) {
      const end = position + 3 * dStep;
      let p = rows + usize(sourceRow(position, first, last)) * rowBytes + (usize(x) << 4);
      let p0: v128, p1: v128, p2: v128, p3: v128;
      if (position >> tapPhaseShift == end >> tapPhaseShift) {
        // One phase for all four.
        const t = tapsAt(taps, position);
        let w = v128.load32_splat(t);
        p0 = v128.mul<f32>(v128.load(p), w);
        p1 = v128.mul<f32>(v128.load(p, 16), w);
        p2 = v128.mul<f32>(v128.load(p, 32), w);
        p3 = v128.mul<f32>(v128.load(p, 48), w);
        for (let i: usize = 4; i < 24; i += 4) {
          p += rowBytes;
          w = v128.load32_splat(t + i);
          p0 = v128.add<f32>(p0, v128.mul<f32>(v128.load(p), w));
          p1 = v128.add<f32>(p1, v128.mul<f32>(v128.load(p, 16), w));
          p2 = v128.add<f32>(p2, v128.mul<f32>(v128.load(p, 32), w));
          p3 = v128.add<f32>(p3, v128.mul<f32>(v128.load(p, 48), w));
        }
      } else {
        p0 = down(rows, rowBytes, x, position, first, last, taps);
        p1 = down(rows, rowBytes, x + 1, position + dStep, first, last, taps);
        p2 = down(rows, rowBytes, x + 2, position + 2 * dStep, first, last, taps);
        p3 = down(rows, rowBytes, x + 3, end, first, last, taps);
      }
      position = end + dStep;
      const rg0 = v128.shuffle<f32>(p0, p1, 0, 4, 1, 5);
      const rg1 = v128.shuffle<f32>(p2, p3, 0, 4, 1, 5);
      const bx0 = v128.shuffle<f32>(p0, p1, 2, 6, 3, 7);
      const bx1 = v128.shuffle<f32>(p2, p3, 2, 6, 3, 7);
      const at = o + (usize(x) << 2);
      v128.store(at, v128.shuffle<f32>(rg0, rg1, 0, 1, 4, 5));
      v128.store(at + planeBytes, v128.shuffle<f32>(rg0, rg1, 2, 3, 6, 7));
      v128.store(at + 2 * planeBytes, v128.shuffle<f32>(bx0, bx1, 0, 1, 4, 5));
    }
  }
}

/** A coordinate with 32 bits of fraction, raised by half a phase, so that cutting it to phases rounds. */
// @ts-ignore: decorator
@inline
function fixed(coordinate: f64): i64 {
  return i64(Math.floor(coordinate * 4294967296.0 + 0.5)) + (1 << (tapPhaseShift - 1));
}

// @ts-ignore: decorator
@inline
function tapsAt(taps: usize, position: i64): usize {
  return taps + (usize((position >> tapPhaseShift) & 511) << 5);
}

/** First of the six rows about a position, counted from `first`. */
// @ts-ignore: decorator
@inline
function sourceRow(position: i64, first: i32, last: i32): i32 {
  return min(max(i32(position >> 32) - 2, first), last - 5) - first;
}

/** A row of RGBx floats, whose column `left` is at the pointer, at `columns` positions. */
// @ts-ignore: decorator
@inline
function acrossRow(row: usize, from: i64, step: i64, left: i32, right: i32, columns: i32, taps: usize, out: usize): void {
  let position = from;
  for (let x = 0; x < columns; x++) {
    const column = usize(min(max(i32(position >> 32) - 2, left), right - 6) - left) << 4;
    const t = tapsAt(taps, position);
    v128.store(out + (usize(x) << 4), across(
      row + column, v128.load32_splat(t), v128.load32_splat(t, 4), v128.load32_splat(t, 8),
      v128.load32_splat(t, 12), v128.load32_splat(t, 16), v128.load32_splat(t, 20),
    ));
    position += step;
  }
}

/** Six neighbouring RGBx pixels, weighted. */
// @ts-ignore: decorator
@inline
function across(p: usize, t0: v128, t1: v128, t2: v128, t3: v128, t4: v128, t5: v128): v128 {
  const near = v128.add<f32>(
    v128.add<f32>(v128.mul<f32>(v128.load(p), t0), v128.mul<f32>(v128.load(p, 16), t1)),
    v128.mul<f32>(v128.load(p, 32), t2),
  );
  const farther = v128.add<f32>(
    v128.add<f32>(v128.mul<f32>(v128.load(p, 48), t3), v128.mul<f32>(v128.load(p, 64), t4)),
    v128.mul<f32>(v128.load(p, 80), t5),
  );
  return v128.add<f32>(near, farther);
}

/** Pixel x between the rows. */
// @ts-ignore: decorator
@inline
function down(rows: usize, rowBytes: usize, x: i32, position: i64, first: i32, last: i32, taps: usize): v128 {
  const t = tapsAt(taps, position);
  let p = rows + usize(sourceRow(position, first, last)) * rowBytes + (usize(x) << 4);
  let sum = v128.mul<f32>(v128.load(p), v128.load32_splat(t));
  p += rowBytes; sum = v128.add<f32>(sum, v128.mul<f32>(v128.load(p), v128.load32_splat(t, 4)));
  p += rowBytes; sum = v128.add<f32>(sum, v128.mul<f32>(v128.load(p), v128.load32_splat(t, 8)));
  p += rowBytes; sum = v128.add<f32>(sum, v128.mul<f32>(v128.load(p), v128.load32_splat(t, 12)));
  p += rowBytes; sum = v128.add<f32>(sum, v128.mul<f32>(v128.load(p), v128.load32_splat(t, 16)));
  p += rowBytes; sum = v128.add<f32>(sum, v128.mul<f32>(v128.load(p), v128.load32_splat(t, 20)));
  return sum;
}

/** Whole rows of a warped picture in memory, one strip, with mirrored row ends. */
export function warpStrip(
  source: usize, bits: i32, sourceWidth: i32, sourceHeight: i32, gainR: f32, gainG: f32, gainB: f32,
  a: f64, b: f64, c: f64, d: f64, e: f64, f: f64, taps: usize,
  out: usize, stride: i32, planeBytes: usize, width: i32, height: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y0 = strip * stripRows;
  const y1 = min(height, y0 + stripRows);
  const gain = gainOf(bits, gainR, gainG, gainB);
  // Blocks of columns keep the rows between the two passes in cache.
  for (let x = 0; x < width; x += 512) {
    const at = out + ((usize(y0) * usize(stride) + usize(x)) << 2);
    warpBlock(source, bits, sourceWidth, sourceHeight, gain, a, b, c, d, e, f, taps, at, stride, planeBytes, x, min(width, x + 512), y0, y1, scratch);
  }
  for (let y = y0; y < y1; y++) {
    const row = out + (usize(y) * usize(stride) << 2);
    fillEnds(row, width);
    fillEnds(row + planeBytes, width);
    fillEnds(row + 2 * planeBytes, width);
  }
}

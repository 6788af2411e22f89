// Resampling of a frame into the anchor's framing.
//
//   out(x, y) = sum over 6 x 6 taps of gain * source(u + i, v + j) * t(i) * t(j),
//   u = a x + b y + c,  v = d x + e y + f          (output pixel -> source pixel, centres at integers)
//
// in two passes: along the source rows to the output's columns, then down the columns. Beyond its edges the
// frame continues with its edge pixels. Taps come from a table of 512 phases x 8 floats (6 used), so a
// position is kept to 1/512 px. Source: interleaved RGB, 8 or 16 bit; output: three planes, 0..255.
import { fillEnds } from './common';

const tapPhaseShift: i32 = 23; // 32 fraction bits - 9 bits of phase

// @ts-ignore: decorator
@inline
function convertRow(source: usize, bits: i32, width: i32, gain: v128, row: usize): void {
  // row: RGBx float quadruples, 12 pixels of edge on either side.
  let o = row;
  if (bits == 8) {
    for (let x = 0; x < width; x++) {
      const p = v128.load32_zero(source + usize(x * 3));
      const q = v128.extend_low<u16>(v128.extend_low<u8>(p));
      v128.store(o, v128.mul<f32>(v128.convert<u32>(q), gain));
      o += 16;
    }
  } else {
    for (let x = 0; x < width; x++) {
      const q = v128.extend_low<u16>(v128.load64_zero(source + usize(x * 6)));
      v128.store(o, v128.mul<f32>(v128.convert<u32>(q), gain));
      o += 16;
    }
  }
  const first = v128.load(row);
  const last = v128.load(o - 16);
  for (let i: usize = 0; i < 12; i++) {
    v128.store(row - 16 - (i << 4), first);
    v128.store(o + (i << 4), last);
  }
}

/**
 * Rows y0..y1-1 of the warped picture into `out` (row y0 at `out`), with mirrored row ends.
 * scratch: (sourceWidth + 24 + rows * width) * 16 bytes with rows = source rows reached + 6.
 */
export function warpRows(
  source: usize, bits: i32, sourceWidth: i32, sourceHeight: i32,
  gainR: f32, gainG: f32, gainB: f32,
  a: f64, b: f64, c: f64, d: f64, e: f64, f: f64,
  taps: usize,
  out: usize, stride: i32, planeBytes: usize, width: i32, y0: i32, y1: i32,
  scratch: usize,
): void {
  const unit: f32 = bits == 8 ? 1 : 1.0 / 257.0;
  let gain = f32x4(gainR * unit, gainG * unit, gainB * unit, 0);
  const sourceRowBytes = usize(sourceWidth) * (bits == 8 ? 3 : 6);

  // Source rows reached by the strip: v is linear, so its extremes are at the corners.
  const va = e * f64(y0) + f;
  const vb = e * f64(y1 - 1) + f;
  const vd = d * f64(width - 1);
  const vMin = Math.min(Math.min(va, vb), Math.min(va + vd, vb + vd));
  const vMax = Math.max(Math.max(va, vb), Math.max(va + vd, vb + vd));
  let first = i32(Math.floor(vMin)) - 2;
  let last = i32(Math.floor(vMax + 1.0 / 1024)) + 3;
  first = max(-8, min(first, sourceHeight + 2));
  last = min(sourceHeight + 7, max(last, first + 5));

  const row = scratch + 12 * 16;
  const rows = scratch + (usize(sourceWidth) + 24) * 16;
  const rowBytes = usize(width) << 4;

  // Along the rows. With y eliminated, u is linear in x and the source row v.
  const slope = a - (b * d) / e;
  const step = i64(slope * 4294967296.0);
  for (let v = first; v <= last; v++) {
    convertRow(source + usize(min(max(v, 0), sourceHeight - 1)) * sourceRowBytes, bits, sourceWidth, gain, row);
    const u = (b / e) * (f64(v) - f) + c;
    let position = i64(Math.floor(u * 4294967296.0 + 0.5)) + (1 << (tapPhaseShift - 1));
    let o = rows + usize(v - first) * rowBytes;
    for (let x = 0; x < width; x++) {
      const column = min(max(i32(position >> 32), -8), sourceWidth + 6);
      const t = taps + (usize((position >> tapPhaseShift) & 511) << 5);
      const p = row + usize((column - 2) << 4);
      const left = v128.add<f32>(
        v128.add<f32>(v128.mul<f32>(v128.load(p), v128.load32_splat(t)), v128.mul<f32>(v128.load(p, 16), v128.load32_splat(t, 4))),
        v128.mul<f32>(v128.load(p, 32), v128.load32_splat(t, 8)),
      );
      const right = v128.add<f32>(
        v128.add<f32>(v128.mul<f32>(v128.load(p, 48), v128.load32_splat(t, 12)), v128.mul<f32>(v128.load(p, 64), v128.load32_splat(t, 16))),
        v128.mul<f32>(v128.load(p, 80), v128.load32_splat(t, 20)),
      );
      v128.store(o, v128.add<f32>(left, right));
      o += 16;
      position += step;
    }
  }

  // Down the columns, four pixels at a time, into planes.
  const dStep = i64(d * 4294967296.0);
  for (let y = y0; y < y1; y++) {
    let position = i64(Math.floor((e * f64(y) + f) * 4294967296.0 + 0.5)) + (1 << (tapPhaseShift - 1));
    const o = out + (usize((y - y0) * stride) << 2);
    for (let x = 0; x < width; x += 4) {
      const p0 = column(rows, rowBytes, x, position, first, last, taps); position += dStep;
      const p1 = column(rows, rowBytes, min(x + 1, width - 1), position, first, last, taps); position += dStep;
      const p2 = column(rows, rowBytes, min(x + 2, width - 1), position, first, last, taps); position += dStep;
      const p3 = column(rows, rowBytes, min(x + 3, width - 1), position, first, last, taps); position += dStep;
      const rg0 = v128.shuffle<f32>(p0, p1, 0, 4, 1, 5);
      const rg1 = v128.shuffle<f32>(p2, p3, 0, 4, 1, 5);
      const bx0 = v128.shuffle<f32>(p0, p1, 2, 6, 3, 7);
      const bx1 = v128.shuffle<f32>(p2, p3, 2, 6, 3, 7);
      const at = o + (usize(x) << 2);
      v128.store(at, v128.shuffle<f32>(rg0, rg1, 0, 1, 4, 5));
      v128.store(at + planeBytes, v128.shuffle<f32>(rg0, rg1, 2, 3, 6, 7));
      v128.store(at + 2 * planeBytes, v128.shuffle<f32>(bx0, bx1, 0, 1, 4, 5));
    }
    fillEnds(o, width);
    fillEnds(o + planeBytes, width);
    fillEnds(o + 2 * planeBytes, width);
  }
}

// @ts-ignore: decorator
@inline
function column(rows: usize, rowBytes: usize, x: i32, position: i64, first: i32, last: i32, taps: usize): v128 {
  const row = min(max(i32(position >> 32) - 2, first), last - 5) - first;
  const t = taps + (usize((position >> tapPhaseShift) & 511) << 5);
  let p = rows + usize(row) * rowBytes + (usize(x) << 4);
  let sum = v128.mul<f32>(v128.load(p), v128.load32_splat(t));
  p += rowBytes; sum = v128.add<f32>(sum, v128.mul<f32>(v128.load(p), v128.load32_splat(t, 4)));
  p += rowBytes; sum = v128.add<f32>(sum, v128.mul<f32>(v128.load(p), v128.load32_splat(t, 8)));
  p += rowBytes; sum = v128.add<f32>(sum, v128.mul<f32>(v128.load(p), v128.load32_splat(t, 12)));
  p += rowBytes; sum = v128.add<f32>(sum, v128.mul<f32>(v128.load(p), v128.load32_splat(t, 16)));
  p += rowBytes; sum = v128.add<f32>(sum, v128.mul<f32>(v128.load(p), v128.load32_splat(t, 20)));
  return sum;
}

// Focus measure of a frame in its own pixel grid, and the focus curve's fixed-size state in the anchor's.
//
//   e = (2 g - left - right)^2 + (2 g - up - down)^2           (squared modified Laplacian of luma)
//   measure = [1 4 6 4 1]/16 x [1 4 6 4 1]/16 window of e
//   code = 512 (log2(measure + 2^-20) + 20), 0..32767 as 16-bit integers: 1/512 octave a step
//
// after Nayar & Nakagawa (PAMI 16(8), 1994). It is measured before resampling, because interpolation
// attenuates fine detail by the sub-pixel phase, which differs from frame to frame and would move the peaks;
// the smooth measure is resampled instead. Interpolation between frames works on logarithms, so the code is
// one.
import { fillEnds, mirror, pad } from './common';
import { reduceRow } from './pyramid';

// @ts-ignore: decorator
@inline
function log2Code(v: v128): v128 {
  const x = v128.add<f32>(v, f32x4.splat(9.5367431640625e-7));
  const exponent = v128.convert<i32>(i32x4.sub(i32x4.shr_u(x, 23), i32x4.splat(127 - 20)));
  const m = v128.sub<f32>(v128.or(v128.and(x, i32x4.splat(0x007fffff)), i32x4.splat(0x3f800000)), f32x4.splat(1));
  // log2(1 + m) = m + m (1 - m) (0.43807 - 0.23669 m + 0.08031 m^2), within 1.5e-4: our own least-squares fit
  const poly = v128.add<f32>(
    f32x4.splat(0.43807325),
    v128.mul<f32>(m, v128.add<f32>(f32x4.splat(-0.23669342), v128.mul<f32>(m, f32x4.splat(0.0803073)))),
  );
  const mantissa = v128.add<f32>(m, v128.mul<f32>(v128.mul<f32>(m, v128.sub<f32>(f32x4.splat(1), m)), poly));
  return v128.trunc_sat<i32>(v128.add<f32>(v128.mul<f32>(v128.add<f32>(exponent, mantissa), f32x4.splat(512)), f32x4.splat(0.5)));
}

/**
 * Codes of rows y0..y1-1 of a luma plane whose row `firstRow` is at the pointer; rows y0 - 3 .. y1 + 2 (or
 * their mirror) must be there. scratch: (y1 - y0 + 5) rows of width + 64 floats.
 */
// @ts-ignore: decorator
@inline
function codeRows(
  luma: usize, stride: i32, firstRow: i32, width: i32, height: i32,
  codes: usize, codeStride: i32, y0: i32, y1: i32, scratch: usize,
): void {
  const rowBytes = usize(stride) << 2;
  const ringBytes = usize(width + 64) << 2;
  const temp = scratch + 64;
  const ring = temp + ringBytes;
  const first = max(0, y0 - 2);
  const past = min(height, y1 + 2);
  for (let y = first; y < past; y++) {
    const here = luma + usize(y - firstRow) * rowBytes;
    const up = luma + usize(mirror(y - 1, height) - firstRow) * rowBytes;
    const down = luma + usize(mirror(y + 1, height) - firstRow) * rowBytes;
    const out = ring + usize(y - first) * ringBytes;
    for (let x = 0; x < width; x += 4) {
      const at = usize(x) << 2;
      const c = v128.load(here + at);
      const twice = v128.add<f32>(c, c);
      const h = v128.sub<f32>(twice, v128.add<f32>(v128.load(here + at - 4), v128.load(here + at + 4)));
      const v = v128.sub<f32>(twice, v128.add<f32>(v128.load(up + at), v128.load(down + at)));
      v128.store(out + at, v128.add<f32>(v128.mul<f32>(h, h), v128.mul<f32>(v, v)));
    }
    fillEnds(out, width);
  }
  const four = f32x4.splat(4);
  const six = f32x4.splat(6);
  const unit = f32x4.splat(1.0 / 256);
  for (let y = y0; y < y1; y++) {
    const r0 = ring + usize(mirror(y - 2, height) - first) * ringBytes;
    const r1 = ring + usize(mirror(y - 1, height) - first) * ringBytes;
    const r2 = ring + usize(y - first) * ringBytes;
    const r3 = ring + usize(mirror(y + 1, height) - first) * ringBytes;
    const r4 = ring + usize(mirror(y + 2, height) - first) * ringBytes;
    for (let x = -4; x < width + 4; x += 4) {
      const at = isize(x) << 2;
      const outer = v128.add<f32>(v128.load(r0 + at), v128.load(r4 + at));
      const inner = v128.mul<f32>(four, v128.add<f32>(v128.load(r1 + at), v128.load(r3 + at)));
      v128.store(temp + at, v128.add<f32>(v128.add<f32>(outer, inner), v128.mul<f32>(six, v128.load(r2 + at))));
    }
    const out = codes + (usize(y * codeStride) << 1);
    for (let x = 0; x < width; x += 8) {
      const p = temp + (usize(x) << 2);
      const low = v128.mul<f32>(unit, v128.add<f32>(
        v128.add<f32>(v128.add<f32>(v128.load(p - 8), v128.load(p + 8)), v128.mul<f32>(six, v128.load(p))),
        v128.mul<f32>(four, v128.add<f32>(v128.load(p - 4), v128.load(p + 4)))));
      const q = p + 16;
      const high = v128.mul<f32>(unit, v128.add<f32>(
        v128.add<f32>(v128.add<f32>(v128.load(q - 8), v128.load(q + 8)), v128.mul<f32>(six, v128.load(q))),
        v128.mul<f32>(four, v128.add<f32>(v128.load(q - 4), v128.load(q + 4)))));
      v128.store(out + (usize(x) << 1), v128.narrow<i32>(log2Code(low), log2Code(high)));
    }
    for (let i = 1; i <= pad; i++) {
      store<u16>(out - (usize(i) << 1), load<u16>(out));
      store<u16>(out + (usize(width - 1 + i) << 1), load<u16>(out + (usize(width - 1) << 1)));
    }
  }
}

/**
 * Level 0 of one frame: luma (Rec. 601 weights on the encoded values) of a strip, its codes, luma x 64 as
 * u16, and its reduction to level 1. scratch: (stripRows + 13) * (width + 64) * 2 floats and more, see planFocus.
 */
export function focusFinestStrip(
  source: usize, bits: i32, width: i32, height: i32,
  codes: usize, lumaOut: usize, codeStride: i32,
  coarse: usize, coarseStride: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y0 = strip * stripRows;
  const y1 = min(height, y0 + stripRows);
  const first = max(0, y0 - 4);
  const past = min(height, y1 + 4);
  const stride = width + 64;
  const luma = scratch + 128;
  const unit: f32 = bits == 8 ? 1 : 1.0 / 257.0;
  const weights = f32x4(0.299 * unit, 0.587 * unit, 0.114 * unit, 0);
  const sourceRowBytes = usize(width) * (bits == 8 ? 3 : 6);
  for (let y = first; y < past; y++) {
    const row = source + usize(y) * sourceRowBytes;
    const out = luma + (usize((y - first) * stride) << 2);
    for (let x = 0; x < width; x += 4) {
      const s = lumaOf(row, bits, x, weights);
      v128.store(out + (usize(x) << 2), s);
    }
    fillEnds(out, width);
    if (y >= y0 && y < y1) {
      const l = lumaOut + (usize(y * codeStride) << 1);
      const scale = f32x4.splat(64);
      const half = f32x4.splat(0.5);
      for (let x = 0; x < width; x += 8) {
        const p = out + (usize(x) << 2);
        v128.store(l + (usize(x) << 1), v128.narrow<i32>(
          v128.trunc_sat<i32>(v128.add<f32>(half, v128.mul<f32>(scale, v128.load(p)))),
          v128.trunc_sat<i32>(v128.add<f32>(half, v128.mul<f32>(scale, v128.load(p, 16))))));
      }
      for (let i = 1; i <= pad; i++) {
        store<u16>(l - (usize(i) << 1), load<u16>(l));
        store<u16>(l + (usize(width - 1 + i) << 1), load<u16>(l + (usize(width - 1) << 1)));
      }
    }
  }
  const rest = luma + (usize((past - first) * stride) << 2) + 64;
  codeRows(luma, stride, first, width, height, codes, codeStride, y0, y1, rest);
  const coarseHeight = (height + 1) >> 1;
  const j1 = min(coarseHeight, (y1 + 1) >> 1);
  for (let j = y0 >> 1; j < j1; j++) {
    reduceRow(luma, stride, first, width, height, j, rest + 64, coarse + (usize(j * coarseStride) << 2), (width + 1) >> 1);
  }
}

// @ts-ignore: decorator
@inline
function lumaOf(row: usize, bits: i32, x: i32, weights: v128): v128 {
  const p = row + usize(x) * (bits == 8 ? 3 : 6);
  const a = v128.mul<f32>(pixelOf(p, bits, 0), weights);
  const b = v128.mul<f32>(pixelOf(p, bits, 1), weights);
  const c = v128.mul<f32>(pixelOf(p, bits, 2), weights);
  const d = v128.mul<f32>(pixelOf(p, bits, 3), weights);
  // Transpose and add: lane i = r + g + b of pixel i.
  const ab = v128.shuffle<f32>(a, b, 0, 4, 1, 5);
  const cd = v128.shuffle<f32>(c, d, 0, 4, 1, 5);
  const abBlue = v128.shuffle<f32>(a, b, 2, 6, 2, 6);
  const cdBlue = v128.shuffle<f32>(c, d, 2, 6, 2, 6);
  return v128.add<f32>(
    v128.add<f32>(v128.shuffle<f32>(ab, cd, 0, 1, 4, 5), v128.shuffle<f32>(ab, cd, 2, 3, 6, 7)),
    v128.shuffle<f32>(abBlue, cdBlue, 0, 1, 4, 5),
  );
}

// @ts-ignore: decorator
@inline
function pixelOf(p: usize, bits: i32, i: usize): v128 {
  return bits == 8
    ? v128.convert<u32>(v128.extend_low<u16>(v128.extend_low<u8>(v128.load32_zero(p + i * 3))))
    : v128.convert<u32>(v128.extend_low<u16>(v128.load64_zero(p + i * 6)));
}

/** Codes of a coarser level whose luma plane lies in memory: one strip. */
export function focusStrip(
  luma: usize, stride: i32, width: i32, height: i32, codes: usize, codeStride: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y0 = strip * stripRows;
  codeRows(luma, stride, 0, width, height, codes, codeStride, y0, min(height, y0 + stripRows), scratch);
}

/**
 * One frame's codes into the focus-curve state of a level, rows of one strip of the anchor's grid.
 *
 * State planes (u16, `stateBytes` apart): 0 best code, 1 the frame before it, 2 the frame after it, 3 the
 * latest frame, 4 least since the best, 5 second peak, 6 ordinal of the best, 7 ordinal of the second peak,
 * 8 luma x 64 of the best (only where `luma` is not 0). 0 = none; ordinals count from 1. A second peak is one
 * that a valley deeper than `prominence` parts from the best, more than two frames away.
 * Eight pixels share one sub-pixel phase: within 4 px the scale of a frame moves it by a few hundredths.
 */
export function trackStrip(
  codes: usize, luma: usize, codeStride: i32, sourceWidth: i32, sourceHeight: i32,
  a: f64, b: f64, c: f64, d: f64, e: f64, f: f64, margin: i32,
  state: usize, stateBytes: usize, stride: i32, width: i32, height: i32,
  ordinal: i32, prominence: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const now = i16x8.splat(i16(ordinal));
  const previous = i16x8.splat(i16(ordinal - 1));
  const far = i16x8.splat(i16(ordinal - 2));
  const rise = i16x8.splat(i16(prominence));
  const lanes = i16x8(0, 1, 2, 3, 4, 5, 6, 7);
  const low = i16x8.splat(i16(margin));
  const high = i16x8.splat(i16(sourceWidth - 2 - margin));
  const rowBytes = usize(codeStride) << 1;
  for (let y = strip * stripRows; y < y1; y++) {
    const row = state + (usize(y * stride) << 1);
    for (let x = 0; x < width; x += 8) {
      const centre = f64(x) + 3.5;
      const u = a * centre + b * f64(y) + c - 3.5;
      const v = d * centre + e * f64(y) + f;
      const iu = i32(Math.floor(u));
      const iv = i32(Math.floor(v));
      const at = row + (usize(x) << 1);
      let valid = i16x8.splat(0);
      let code = valid;
      const inside = iv >= margin && iv + 1 <= sourceHeight - 1 - margin && iu > -8 && iu < sourceWidth;
      const p = codes + usize(iv) * rowBytes + (isize(iu) << 1);
      const fu = i16x8.splat(i16((u - f64(iu)) * 32767));
      const fv = i16x8.splat(i16((v - f64(iv)) * 32767));
      if (inside) {
        const column = i16x8.add(i16x8.splat(i16(iu)), lanes);
        valid = v128.and(i16x8.ge_s(column, low), i16x8.le_s(column, high));
        code = v128.and(valid, blend4(p, rowBytes, fu, fv));
      }
      let best = v128.load(at);
      const bestAt = at + 6 * stateBytes;
      let ordinalOfBest = v128.load(bestAt);
      const last = v128.load(at + 3 * stateBytes);
      v128.store(at + 3 * stateBytes, code);
      if (!v128.any_true(valid)) continue;

      const greater = v128.and(valid, i16x8.gt_s(code, best));
      const notGreater = v128.andnot(valid, greater);
      const valleyAt = at + 4 * stateBytes;
      const valley = v128.load(valleyAt);
      const secondAt = at + 5 * stateBytes;
      let second = v128.load(secondAt);
      const apart = i16x8.lt_s(ordinalOfBest, far); // more than two frames ago
      // A best that falls to a new one beyond a valley becomes the second peak.
      const displaced = v128.and(
        v128.and(greater, apart),
        v128.and(i16x8.gt_s(i16x8.sub(best, rise), valley), i16x8.gt_s(best, second)),
      );
      const rival = v128.and(
        v128.and(notGreater, apart),
        v128.and(i16x8.gt_s(i16x8.sub(code, rise), valley), i16x8.gt_s(code, second)),
      );
      if (v128.any_true(v128.or(displaced, rival))) {
        let secondOrdinal = v128.load(at + 7 * stateBytes);
        second = v128.bitselect(best, second, displaced);
        secondOrdinal = v128.bitselect(ordinalOfBest, secondOrdinal, displaced);
        second = v128.bitselect(code, second, rival);
        secondOrdinal = v128.bitselect(now, secondOrdinal, rival);
        v128.store(secondAt, second);
        v128.store(at + 7 * stateBytes, secondOrdinal);
      }
      const next = v128.and(notGreater, i16x8.eq(ordinalOfBest, previous));
      if (v128.any_true(v128.or(next, greater))) {
        const afterAt = at + 2 * stateBytes;
        v128.store(afterAt, v128.andnot(v128.bitselect(code, v128.load(afterAt), next), greater));
      }
      v128.store(valleyAt, v128.bitselect(code, v128.bitselect(i16x8.min_s(valley, code), valley, valid), greater));
      if (v128.any_true(greater)) {
        const beforeAt = at + stateBytes;
        v128.store(beforeAt, v128.bitselect(last, v128.load(beforeAt), greater));
        best = v128.bitselect(code, best, greater);
        ordinalOfBest = v128.bitselect(now, ordinalOfBest, greater);
        v128.store(at, best);
        v128.store(bestAt, ordinalOfBest);
        if (luma != 0) {
          const guideAt = at + 8 * stateBytes;
          const q = luma + usize(iv) * rowBytes + (isize(iu) << 1);
          v128.store(guideAt, v128.bitselect(blend4(q, rowBytes, fu, fv), v128.load(guideAt), greater));
        }
      }
    }
  }
}

/** Eight bilinear samples with one phase; values 0..32767. */
// @ts-ignore: decorator
@inline
function blend4(p: usize, rowBytes: usize, fu: v128, fv: v128): v128 {
  const p00 = v128.load(p);
  const p10 = v128.load(p + rowBytes);
  const top = i16x8.add(p00, i16x8.q15mulr_sat_s(i16x8.sub(v128.load(p + 2), p00), fu));
  const bottom = i16x8.add(p10, i16x8.q15mulr_sat_s(i16x8.sub(v128.load(p + rowBytes + 2), p10), fu));
  return i16x8.add(top, i16x8.q15mulr_sat_s(i16x8.sub(bottom, top), fv));
}

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
import { reduceRows, sumRows } from './pyramid';

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

/** Rows of energy, and of luma, that are held at a time: a power of two, so that row y lies in slot y & 7. */
const ringRows: i32 = 8;

/** Energy of a row of luma, whose ends are filled, from the rows about it; the ends of `out` are filled. */
// @ts-ignore: decorator
@inline
function energyRow(up: usize, here: usize, down: usize, width: i32, out: usize): void {
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

/** Codes of row y from the ring of energies; `temp` has room for a row. The ends of `out` are filled. */
// @ts-ignore: decorator
@inline
function codeRow(ring: usize, ringBytes: usize, y: i32, width: i32, height: i32, temp: usize, out: usize): void {
  const r0 = ringRow(ring, ringBytes, mirror(y - 2, height));
  const r1 = ringRow(ring, ringBytes, mirror(y - 1, height));
  const r2 = ringRow(ring, ringBytes, y);
  const r3 = ringRow(ring, ringBytes, mirror(y + 1, height));
  const r4 = ringRow(ring, ringBytes, mirror(y + 2, height));
  sumRows(r0, r1, r2, r3, r4, width, temp);
  for (let x = 0; x < width; x += 8) {
    const p = temp + (usize(x) << 2);
    v128.store(out + (usize(x) << 1), v128.narrow<i32>(fourCodes(p), fourCodes(p + 16)));
  }
  repeatEnds(out, width);
}

/** Codes of four pixels from the row of sums. */
// @ts-ignore: decorator
@inline
function fourCodes(p: usize): v128 {
  const outer = v128.add<f32>(v128.load(p - 8), v128.load(p + 8));
  const inner = v128.add<f32>(v128.load(p - 4), v128.load(p + 4));
  const sum = v128.add<f32>(v128.add<f32>(outer, v128.mul<f32>(f32x4.splat(6), v128.load(p))), v128.mul<f32>(f32x4.splat(4), inner));
  return log2Code(v128.mul<f32>(f32x4.splat(1.0 / 256), sum));
}

// @ts-ignore: decorator
@inline
function ringRow(ring: usize, ringBytes: usize, y: i32): usize {
  return ring + usize(y & (ringRows - 1)) * ringBytes;
}

/** Fills the ends of a row of 16-bit elements with its first and its last. */
// @ts-ignore: decorator
@inline
function repeatEnds(row: usize, width: i32): void {
  for (let i = 1; i <= pad; i++) {
    store<u16>(row - (usize(i) << 1), load<u16>(row));
    store<u16>(row + (usize(width - 1 + i) << 1), load<u16>(row + (usize(width - 1) << 1)));
  }
}

/**
 * Level 0 of one frame: luma (Rec. 601 weights on the encoded values) of a strip, its codes, luma x 64 as
 * u16, and its reduction to level 1. One row of luma at a time, and of everything else what it completes, so that
 * what lies between stays in cache. lumaOut: 0 = not wanted. scratch: 18 rows of width + 64 floats.
 */
export function focusFinestStrip(
  source: usize, bits: i32, width: i32, height: i32,
  codes: usize, lumaOut: usize, codeStride: i32,
  coarse: usize, coarseStride: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y0 = strip * stripRows;
  const y1 = min(height, y0 + stripRows);
  const past = min(height, y1 + 3);
  const ringBytes = usize(width + 64) << 2;
  const luma = scratch + 128;
  const energy = luma + usize(ringRows) * ringBytes;
  const temp = energy + usize(ringRows) * ringBytes;
  const unit: f32 = bits == 8 ? 1 : 1.0 / 257.0;
  const red = f32x4.splat(0.299 * unit);
  const green = f32x4.splat(0.587 * unit);
  const blue = f32x4.splat(0.114 * unit);
  const sourceRowBytes = usize(width) * (bits == 8 ? 3 : 6);
  const firstEnergy = max(0, y0 - 2);
  const pastEnergy = min(height, y1 + 2);
  const pastCoarse = min((height + 1) >> 1, (y1 + 1) >> 1);
  let nextEnergy = firstEnergy;
  let nextCode = y0;
  let nextCoarse = y0 >> 1;
  for (let y = max(0, y0 - 3); y < past; y++) {
    const row = source + usize(y) * sourceRowBytes;
    const out = ringRow(luma, ringBytes, y);
    for (let x = 0; x < width; x += 4) {
      v128.store(out + (usize(x) << 2), lumaOf(row, bits, x, red, green, blue));
    }
    fillEnds(out, width);
    if (lumaOut != 0 && y >= y0 && y < y1) lumaCodes(out, width, lumaOut + (usize(y * codeStride) << 1));
    // At the frame's last row the rows that wait for those below take the mirrored ones.
    const isLast = y + 1 == height;
    for (const to = isLast ? pastEnergy : min(pastEnergy, y); nextEnergy < to; nextEnergy++) {
      energyRow(
        ringRow(luma, ringBytes, mirror(nextEnergy - 1, height)),
        ringRow(luma, ringBytes, nextEnergy),
        ringRow(luma, ringBytes, mirror(nextEnergy + 1, height)),
        width, ringRow(energy, ringBytes, nextEnergy),
      );
    }
    for (const to = isLast ? y1 : min(y1, nextEnergy - 2); nextCode < to; nextCode++) {
      codeRow(energy, ringBytes, nextCode, width, height, temp, codes + (usize(nextCode * codeStride) << 1));
    }
    for (; nextCoarse < pastCoarse && (isLast || 2 * nextCoarse + 2 <= y); nextCoarse++) {
      const j = 2 * nextCoarse;
      reduceRows(
        ringRow(luma, ringBytes, mirror(j - 2, height)), ringRow(luma, ringBytes, mirror(j - 1, height)),
        ringRow(luma, ringBytes, j),
        ringRow(luma, ringBytes, mirror(j + 1, height)), ringRow(luma, ringBytes, mirror(j + 2, height)),
        width, temp, coarse + (usize(nextCoarse * coarseStride) << 2), (width + 1) >> 1,
      );
    }
  }
}

/** Luma x 64 of a row. */
// @ts-ignore: decorator
@inline
function lumaCodes(luma: usize, width: i32, out: usize): void {
  const scale = f32x4.splat(64);
  const half = f32x4.splat(0.5);
  for (let x = 0; x < width; x += 8) {
    const p = luma + (usize(x) << 2);
    v128.store(out + (usize(x) << 1), v128.narrow<i32>(
      v128.trunc_sat<i32>(v128.add<f32>(half, v128.mul<f32>(scale, v128.load(p)))),
      v128.trunc_sat<i32>(v128.add<f32>(half, v128.mul<f32>(scale, v128.load(p, 16))))));
  }
  repeatEnds(out, width);
}

/** Luma x 64 of a level whose luma plane lies in memory, as u16, the row ends included: rows of one strip. */
export function lumaCodesStrip(
  luma: usize, stride: i32, width: i32, height: i32, out: usize, outStride: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  for (let y = strip * stripRows; y < y1; y++) {
    lumaCodes(luma + (usize(y * stride) << 2), width, out + (usize(y * outStride) << 1));
  }
}

/** Luma of four pixels. Reads 16 bytes of 8-bit samples, which four pixels fill to 12. */
// @ts-ignore: decorator
@inline
function lumaOf(row: usize, bits: i32, x: i32, red: v128, green: v128, blue: v128): v128 {
  let r: v128, g: v128, b: v128;
  if (bits == 8) {
    const four = v128.load(row + usize(x) * 3);
    r = i8x16.swizzle(four, i8x16(0, -1, -1, -1, 3, -1, -1, -1, 6, -1, -1, -1, 9, -1, -1, -1));
    g = i8x16.swizzle(four, i8x16(1, -1, -1, -1, 4, -1, -1, -1, 7, -1, -1, -1, 10, -1, -1, -1));
    b = i8x16.swizzle(four, i8x16(2, -1, -1, -1, 5, -1, -1, -1, 8, -1, -1, -1, 11, -1, -1, -1));
  } else {
    // The first two pixels lie in the first half, the last two in the second, which starts four samples later.
    const p = row + usize(x) * 6;
    const two = v128.load(p);
    const next = v128.load(p, 8);
    r = v128.or(
      i8x16.swizzle(two, i8x16(0, 1, -1, -1, 6, 7, -1, -1, -1, -1, -1, -1, -1, -1, -1, -1)),
      i8x16.swizzle(next, i8x16(-1, -1, -1, -1, -1, -1, -1, -1, 4, 5, -1, -1, 10, 11, -1, -1)),
    );
    g = v128.or(
      i8x16.swizzle(two, i8x16(2, 3, -1, -1, 8, 9, -1, -1, -1, -1, -1, -1, -1, -1, -1, -1)),
      i8x16.swizzle(next, i8x16(-1, -1, -1, -1, -1, -1, -1, -1, 6, 7, -1, -1, 12, 13, -1, -1)),
    );
    b = v128.or(
      i8x16.swizzle(two, i8x16(4, 5, -1, -1, 10, 11, -1, -1, -1, -1, -1, -1, -1, -1, -1, -1)),
      i8x16.swizzle(next, i8x16(-1, -1, -1, -1, -1, -1, -1, -1, 8, 9, -1, -1, 14, 15, -1, -1)),
    );
  }
  return v128.add<f32>(
    v128.add<f32>(v128.mul<f32>(v128.convert<i32>(r), red), v128.mul<f32>(v128.convert<i32>(g), green)),
    v128.mul<f32>(v128.convert<i32>(b), blue),
  );
}

/** Codes of a coarser level whose luma plane lies in memory: one strip. scratch: 10 rows of width + 64 floats. */
export function focusStrip(
  luma: usize, stride: i32, width: i32, height: i32, codes: usize, codeStride: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y0 = strip * stripRows;
  const y1 = min(height, y0 + stripRows);
  const rowBytes = usize(stride) << 2;
  const ringBytes = usize(width + 64) << 2;
  const energy = scratch + 128;
  const temp = energy + usize(ringRows) * ringBytes;
  const past = min(height, y1 + 2);
  let next = y0;
  for (let y = max(0, y0 - 2); y < past; y++) {
    energyRow(
      luma + usize(mirror(y - 1, height)) * rowBytes, luma + usize(y) * rowBytes, luma + usize(mirror(y + 1, height)) * rowBytes,
      width, ringRow(energy, ringBytes, y),
    );
    for (const to = y + 1 == height ? y1 : min(y1, y - 1); next < to; next++) {
      codeRow(energy, ringBytes, next, width, height, temp, codes + (usize(next * codeStride) << 1));
    }
  }
}

/**
 * One frame's codes into the focus-curve state of a level, rows of one strip of the anchor's grid.
 *
 * State planes (u16, `stateBytes` apart): 0 best code, 1 the frame before it, 2 the frame after it, 3 the
 * latest frame, 4 least since the best, 5 second peak, 6 ordinal of the best, 7 ordinal of the second peak,
 * 0 = none; ordinals count from 1. A second peak is one that a valley deeper than `prominence` parts from the best, more
 * than two frames away. tones: the luma, 0 to 255, that level 0 shows in the frame of a peak, u16 in rows of toneStride at
 * the size of level 0; 0 = not kept. Level 0 keeps its best's in the low byte and its second peak's in the high one; levels
 * 1 and 2 share a plane, the best of level 1 in its low byte, of level 2 in its high one. luma: of the frame, x 64,
 * lumaWidth by lumaHeight.
 * Eight pixels share one sub-pixel phase: within 4 px the scale of a frame moves it by a few hundredths.
 * scratch: 2 bytes a column.
 */
export function trackStrip(
  codes: usize, codeStride: i32, sourceWidth: i32, sourceHeight: i32,
  luma: usize, lumaStride: i32, lumaWidth: i32, lumaHeight: i32,
  tones: usize, toneStride: i32, toneWidth: i32, toneHeight: i32, level: i32,
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
  const lastRow = sourceHeight - 2 - margin;
  const innerLast = sourceWidth - 9 - margin;
  const isLevel = b == 0 && d == 0;
  for (let y = strip * stripRows; y < y1; y++) {
    const row = state + (usize(y * stride) << 1);
    if (!isLevel || y == strip * stripRows) placeGroups(a, b, c, d, e, f, y, width, scratch);
    // Where the frame is not rolled, groups lie in every row as in the first, and rows alike in all their groups.
    const v = e * f64(y) + f;
    const vFloor = Math.floor(v);
    let iv = i32(vFloor);
    let fv = i16x8.splat(i16((v - vFloor) * 32767));
    for (let x = 0; x < width; x += 8) {
      const place = scratch + (usize(x) << 1);
      const iu = load<i32>(place);
      if (!isLevel) {
        iv = load<i32>(place, 4);
        fv = v128.load16_splat(place, 12);
      }
      const at = row + (usize(x) << 1);
      const latestAt = at + 3 * stateBytes;
      if (iv < margin || iv > lastRow || iu <= -8 || iu >= sourceWidth) {
        v128.store(latestAt, i16x8.splat(0));
        continue;
      }
      const p = codes + usize(iv) * rowBytes + (isize(iu) << 1);
      const fu = v128.load16_splat(place, 8);
      let code = blend4(p, rowBytes, fu, fv);
      let valid = i16x8.splat(-1);
      if (iu < margin || iu > innerLast) {
        const column = i16x8.add(i16x8.splat(i16(iu)), lanes);
        valid = v128.and(i16x8.ge_s(column, low), i16x8.le_s(column, high));
        code = v128.and(valid, code);
      }
      const best = v128.load(at);
      const bestAt = at + 6 * stateBytes;
      const ordinalOfBest = v128.load(bestAt);
      const valleyAt = at + 4 * stateBytes;
      const valley = v128.load(valleyAt);
      const greater = v128.and(valid, i16x8.gt_s(code, best));
      const notGreater = v128.andnot(valid, greater);
      const apart = i16x8.lt_s(ordinalOfBest, far); // more than two frames ago
      // A best that falls to a new one beyond a valley becomes the second peak, and so does a code that stays below it.
      const displaced = v128.and(greater, i16x8.gt_s(i16x8.sub(best, rise), valley));
      const rival = v128.and(notGreater, i16x8.gt_s(i16x8.sub(code, rise), valley));
      const parted = v128.and(apart, v128.or(displaced, rival));
      let higher = i16x8.splat(0);
      if (v128.any_true(parted)) {
        const secondAt = at + 5 * stateBytes;
        const second = v128.load(secondAt);
        const rising = v128.bitselect(best, code, displaced);
        higher = v128.and(parted, i16x8.gt_s(rising, second));
        if (v128.any_true(higher)) {
          const ordinalAt = at + 7 * stateBytes;
          v128.store(secondAt, v128.bitselect(rising, second, higher));
          const ordinals = v128.bitselect(ordinalOfBest, now, displaced);
          v128.store(ordinalAt, v128.bitselect(ordinals, v128.load(ordinalAt), higher));
        }
      }
      const next = v128.and(notGreater, i16x8.eq(ordinalOfBest, previous));
      if (v128.any_true(v128.or(next, greater))) {
        const afterAt = at + 2 * stateBytes;
        v128.store(afterAt, v128.andnot(v128.bitselect(code, v128.load(afterAt), next), greater));
      }
      // Memory is what this loop waits for: what stays is not written.
      const deeper = v128.or(greater, v128.and(valid, i16x8.lt_s(code, valley)));
      if (v128.any_true(deeper)) v128.store(valleyAt, v128.bitselect(code, valley, deeper));
      if (v128.any_true(greater)) {
        const beforeAt = at + stateBytes;
        v128.store(beforeAt, v128.bitselect(v128.load(latestAt), v128.load(beforeAt), greater));
        v128.store(at, v128.bitselect(code, best, greater));
        v128.store(bestAt, v128.bitselect(now, ordinalOfBest, greater));
      }
      if (tones != 0 && v128.any_true(level == 0 ? v128.or(greater, higher) : greater)) {
        if (level == 0) {
          const q = luma + usize(iv) * (usize(lumaStride) << 1) + (isize(iu) << 1);
          const seen = i16x8.shr_u(blend4(q, usize(lumaStride) << 1, fu, fv), 6);
          keepTones(tones + ((usize(y * toneStride) + usize(x)) << 1), seen, greater, higher, displaced);
        } else {
          noteTones(
            greater, level, x, y, a, b, c, d, e, f, luma, lumaStride, lumaWidth, lumaHeight, tones, toneStride, toneWidth, toneHeight,
          );
        }
      }
      v128.store(latestAt, code);
    }
  }
}

/**
 * The best code of each pixel and its frame's ordinal, as `trackStrip` keeps them, and nothing else of the curve: where only the
 * sharpest frame is asked. best, ordinals: u16 in rows of stride. scratch: 2 bytes a column.
 */
export function pickStrip(
  codes: usize, codeStride: i32, sourceWidth: i32, sourceHeight: i32,
  a: f64, b: f64, c: f64, d: f64, e: f64, f: f64, margin: i32,
  best: usize, ordinals: usize, stride: i32, width: i32, height: i32,
  ordinal: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const now = i16x8.splat(i16(ordinal));
  const lanes = i16x8(0, 1, 2, 3, 4, 5, 6, 7);
  const low = i16x8.splat(i16(margin));
  const high = i16x8.splat(i16(sourceWidth - 2 - margin));
  const rowBytes = usize(codeStride) << 1;
  const lastRow = sourceHeight - 2 - margin;
  const innerLast = sourceWidth - 9 - margin;
  const isLevel = b == 0 && d == 0;
  for (let y = strip * stripRows; y < y1; y++) {
    if (!isLevel || y == strip * stripRows) placeGroups(a, b, c, d, e, f, y, width, scratch);
    const v = e * f64(y) + f;
    const vFloor = Math.floor(v);
    let iv = i32(vFloor);
    let fv = i16x8.splat(i16((v - vFloor) * 32767));
    for (let x = 0; x < width; x += 8) {
      const place = scratch + (usize(x) << 1);
      const iu = load<i32>(place);
      if (!isLevel) {
        iv = load<i32>(place, 4);
        fv = v128.load16_splat(place, 12);
      }
      if (iv < margin || iv > lastRow || iu <= -8 || iu >= sourceWidth) continue;
      const code = blend4(codes + usize(iv) * rowBytes + (isize(iu) << 1), rowBytes, v128.load16_splat(place, 8), fv);
      const at = (usize(y * stride) + usize(x)) << 1;
      const before = v128.load(best + at);
      let greater = i16x8.gt_s(code, before);
      if (iu < margin || iu > innerLast) {
        const column = i16x8.add(i16x8.splat(i16(iu)), lanes);
        greater = v128.and(greater, v128.and(i16x8.ge_s(column, low), i16x8.le_s(column, high)));
      }
      // Memory is what this loop waits for: what stays is not written.
      if (!v128.any_true(greater)) continue;
      v128.store(best + at, v128.bitselect(code, before, greater));
      v128.store(ordinals + at, v128.bitselect(now, v128.load(ordinals + at), greater));
    }
  }
}

/**
 * Puts the tones of eight pixels into those that are kept: where `greater`, as the best's; where `higher`, as the second
 * peak's, or the former best's where that was `displaced`.
 */
// @ts-ignore: decorator
@inline
function keepTones(at: usize, seen: v128, greater: v128, higher: v128, displaced: v128): void {
  const kept = v128.load(at);
  const ofSecond = v128.bitselect(v128.bitselect(i16x8.shl(kept, 8), i16x8.shl(seen, 8), displaced), kept, higher);
  const ofBest = v128.bitselect(seen, kept, greater);
  v128.store(at, v128.bitselect(ofBest, ofSecond, i16x8.splat(255)));
}

/**
 * Tones of the pixels of level 0 beneath eight of level 1 or 2 whose best peak has changed: level 1 keeps them in the low
 * byte, level 2 in the high one. a..f: from composite to frame pixels of the level. Eight pixels share one sub-pixel phase.
 */
function noteTones(
  greater: v128, level: i32, x: i32, y: i32, a: f64, b: f64, c: f64, d: f64, e: f64, f: f64,
  luma: usize, lumaStride: i32, lumaWidth: i32, lumaHeight: i32, tones: usize, toneStride: i32, toneWidth: i32, toneHeight: i32,
): void {
  const rowBytes = usize(lumaStride) << 1;
  const spans = 1 << level;
  const shift = level == 1 ? 0 : 8;
  const kept = i16x8.splat(level == 1 ? -256 : 255);
  // Bytes of the lane of the level that stands above each of eight columns.
  const pairs = level == 1 ? i16x8(0, 0, 1, 1, 2, 2, 3, 3) : i16x8(0, 0, 0, 0, 1, 1, 1, 1);
  for (let group = 0; group < spans; group++) {
    const column = spans * x + 8 * group;
    if (column >= toneWidth) break;
    const lane = i16x8.add(pairs, i16x8.splat(i16(group * (8 >> level))));
    const changed = i8x16.swizzle(greater, i16x8.add(i16x8.mul(lane, i16x8.splat(0x0202)), i16x8.splat(0x0100)));
    if (!v128.any_true(changed)) continue;
    const centre = f64(column) + 3.5;
    for (let row = spans * y; row < min(toneHeight, spans * y + spans); row++) {
      const u = a * centre + b * f64(row) + f64(spans) * c - 3.5;
      const v = d * centre + e * f64(row) + f64(spans) * f;
      const left = Math.floor(u);
      const top = Math.floor(v);
      const p = luma + usize(max(0, min(lumaHeight - 2, i32(top)))) * rowBytes + (isize(max(-8, min(lumaWidth - 1, i32(left)))) << 1);
      const seen = i16x8.shr_u(blend4(p, rowBytes, i16x8.splat(i16((u - left) * 32767)), i16x8.splat(i16((v - top) * 32767))), 6);
      const at = tones + (usize(row * toneStride + column) << 1);
      const before = v128.load(at);
      v128.store(at, v128.bitselect(v128.or(v128.and(before, kept), i16x8.shl(seen, shift)), before, changed));
    }
  }
}

/**
 * Where the groups of eight pixels of a row lie in the frame: for each four i32, the column and the row of its first
 * sample and the parts beyond them, 0 to 32767.
 */
// @ts-ignore: decorator
@inline
function placeGroups(a: f64, b: f64, c: f64, d: f64, e: f64, f: f64, y: i32, width: i32, out: usize): void {
  const alongRow = f64x2(a, d);
  const ofRow = f64x2(b * f64(y), e * f64(y));
  const offset = f64x2(c, f);
  const first = f64x2(3.5, 0);
  const full = f64x2.splat(32767);
  for (let x = 0; x < width; x += 8) {
    const centre = f64x2.splat(f64(x) + 3.5);
    const place = f64x2.sub(f64x2.add(f64x2.add(f64x2.mul(alongRow, centre), ofRow), offset), first);
    const floor = f64x2.floor(place);
    const whole = i32x4.trunc_sat_f64x2_s_zero(floor);
    const part = i32x4.trunc_sat_f64x2_s_zero(f64x2.mul(f64x2.sub(place, floor), full));
    v128.store(out + (usize(x) << 1), v128.shuffle<i32>(whole, part, 0, 1, 4, 5));
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

// Weighted Laplacian pyramid, accumulated frame by frame.
//
//   acc_l += w_l (G_l - expand(G_l+1)),  sum_l += w_l,   coarsest level: acc += w G
//   w = (1 - t^2)^2 for |t| < 1, else 0,   t = (frame - centre) / reach
//
// centre and reach are maps at each level's resolution: where along the stack a pixel's coefficient is taken
// from, u16 with the stack's fraction bits (see curve-state.ts), and over how many frames it is averaged, the low six
// bits of a u16 in 1/16 frame; frame ordinals count from 1. A reach below one frame picks a single frame. The high ten
// bits may name one more frame, or where stacks are too long for ten bits a plane of its own, `frontBytes` beyond the
// reaches. That frame shows something thin and sharp before the rest: its coefficient is added as a whole, since far from
// either's own plane of focus each of the two is nearly flat. Where the frame does not reach (the warped picture is only its edge
// continued) the weight is 0.
//
// What blur took from a frame's coefficients of the finest level is given back where the reach is that of clear detail:
// at d frames from the centre a coefficient has lost the part q d^2 of its contrast and is multiplied by 1 + q d^2. So
// what lies halfway between two planes of focus is as crisp as what lies on one.
import { tileColumns, clearReach, frontWeight, maxRestored } from './constants';
import { reach } from './common';
import { unitsOf64ths, unitsPerFrame } from './curve-state';
import { encodeRow } from './light';
import { expandColumns, expandFour } from './pyramid';
import { gainOf, warpBlock } from './warp';

/**
 * Weights of columns x0..x1-1 of a row into `weights`; those about the centre are added to `sum`, before they grow by
 * `lost`, the part of its contrast that a coefficient has lost one frame from its centre. Returns the span of non-zero
 * ones, low | high << 32.
 */
// @ts-ignore: decorator
@inline
function weightRow(
  centre: usize, width: usize, frontBytes: usize, ordinal: f32, x0: i32, x1: i32, weights: usize, sum: usize, lost: f32, fractionBits: i32,
): u64 {
  const frame = f32x4.splat(ordinal * unitsPerFrame(fractionBits));
  const frame16 = i16x8.splat(i16(i32(ordinal) << fractionBits));
  const named = i16x8.splat(i16(ordinal));
  const more = f32x4.splat(frontWeight);
  const growth = f32x4.splat(lost / (unitsPerFrame(fractionBits) * unitsPerFrame(fractionBits)));
  const mostGrowth = f32x4.splat(maxRestored);
  const zero = f32x4.splat(0);
  const one = f32x4.splat(1);
  let low = x1;
  let high = x0;
  // Groups of eight; the first and the last group are cut to the span by lane.
  for (let x = x0 & ~7; x < x1; x += 8) {
    const c = v128.load(centre + (usize(x) << 1));
    const packed = v128.load(width + (usize(x) << 1));
    const r = i16x8.shl(v128.and(packed, i16x8.splat(63)), fractionBits - 4);
    const names = frontBytes == 0 ? i16x8.shr_u(packed, 6) : v128.load(width + frontBytes + (usize(x) << 1));
    const isNamed = i16x8.eq(names, named);
    const at = weights + (usize(x) << 2);
    // Most of a frame has no weight: distances of whole numbers tell, without a division.
    const apart = v128.or(i16x8.sub_sat_u(c, frame16), i16x8.sub_sat_u(frame16, c));
    if (!v128.any_true(v128.or(i16x8.sub_sat_u(r, apart), isNamed))) {
      v128.store(at, zero);
      v128.store(at, zero, 16);
      continue;
    }
    const dLow = v128.sub<f32>(frame, v128.convert<i32>(v128.extend_low<u16>(c)));
    const dHigh = v128.sub<f32>(frame, v128.convert<i32>(v128.extend_high<u16>(c)));
    const tLow = v128.div<f32>(dLow, v128.convert<i32>(v128.extend_low<u16>(r)));
    const tHigh = v128.div<f32>(dHigh, v128.convert<i32>(v128.extend_high<u16>(r)));
    let a = v128.pmax<f32>(zero, v128.sub<f32>(one, v128.mul<f32>(tLow, tLow)));
    let b = v128.pmax<f32>(zero, v128.sub<f32>(one, v128.mul<f32>(tHigh, tHigh)));
    a = v128.mul<f32>(a, a);
    b = v128.mul<f32>(b, b);
    let insideA = i32x4.splat(-1);
    let insideB = insideA;
    if (x < x0 || x + 8 > x1) {
      const lanes = i32x4.add(i32x4.splat(x), i32x4(0, 1, 2, 3));
      const lanes4 = i32x4.add(lanes, i32x4.splat(4));
      const from = i32x4.splat(x0);
      const to = i32x4.splat(x1);
      insideA = v128.and(i32x4.ge_s(lanes, from), i32x4.lt_s(lanes, to));
      insideB = v128.and(i32x4.ge_s(lanes4, from), i32x4.lt_s(lanes4, to));
      a = v128.and(a, insideA);
      b = v128.and(b, insideB);
    }
    if (v128.any_true(v128.or(a, b))) {
      low = min(low, x);
      high = x + 8;
      const s = sum + (usize(x) << 2);
      v128.store(s, v128.add<f32>(v128.load(s), a));
      v128.store(s, v128.add<f32>(v128.load(s, 16), b), 16);
    }
    if (lost > 0) {
      const isClear = i16x8.le_u(r, i16x8.splat(i16(unitsOf64ths(clearReach, fractionBits))));
      const grownA = v128.pmin<f32>(mostGrowth, v128.mul<f32>(growth, v128.mul<f32>(dLow, dLow)));
      const grownB = v128.pmin<f32>(mostGrowth, v128.mul<f32>(growth, v128.mul<f32>(dHigh, dHigh)));
      a = v128.add<f32>(a, v128.and(i32x4.extend_low_i16x8_s(isClear), v128.mul<f32>(a, grownA)));
      b = v128.add<f32>(b, v128.and(i32x4.extend_high_i16x8_s(isClear), v128.mul<f32>(b, grownB)));
    }
    if (v128.any_true(isNamed)) {
      low = min(low, x);
      high = x + 8;
      a = v128.add<f32>(a, v128.and(more, v128.and(insideA, i32x4.extend_low_i16x8_s(isNamed))));
      b = v128.add<f32>(b, v128.and(more, v128.and(insideB, i32x4.extend_high_i16x8_s(isNamed))));
    }
    v128.store(at, a);
    v128.store(at, b, 16);
  }
  if (high <= low) return 0;
  return u64(u32(low)) | (u64(u32(high)) << 32);
}

/** Whether the frame of an ordinal has any weight in eight columns: see `weightRow`. Addresses of their centre and reach. */
// @ts-ignore: decorator
@inline
function isWeighed(centre: usize, reaches: usize, frontBytes: usize, ordinal: i32, fractionBits: i32): bool {
  const frame = i16x8.splat(i16(ordinal << fractionBits));
  const c = v128.load(centre);
  const packed = v128.load(reaches);
  const r = i16x8.shl(v128.and(packed, i16x8.splat(63)), fractionBits - 4);
  const names = frontBytes == 0 ? i16x8.shr_u(packed, 6) : v128.load(reaches + frontBytes);
  const apart = v128.or(i16x8.sub_sat_u(c, frame), i16x8.sub_sat_u(frame, c));
  return v128.any_true(v128.or(i16x8.sub_sat_u(r, apart), i16x8.eq(names, i16x8.splat(i16(ordinal)))));
}

/** Whether a tile of the finest level, or one beside it, uses the frame. */
function isUsedAbout(uses: usize, usesBytes: i32, across: i32, down: i32, column: i32, row: i32, ordinal: i32): bool {
  for (let v = max(0, row - 1); v <= min(down - 1, row + 1); v++) {
    for (let u = max(0, column - 1); u <= min(across - 1, column + 1); u++) {
      if (i32(load<u8>(uses + usize((v * across + u) * usesBytes + (ordinal >> 3)))) & (1 << (ordinal & 7))) return true;
    }
  }
  return false;
}

/**
 * Level 1 of a frame from light to samples, in place, as `encodeStrip` does, but only the blocks that are read as samples, of half
 * a tile's sides: where the frame has weight at this level, or at the finest one in the tile or about it. Elsewhere what is there
 * stays. Rows of one strip. centre, reachMap: of level 1. uses: see `blendFinestStrip`; fullWidth, fullHeight: of the finest level,
 * whose tiles have as many rows as a strip. scratch: a byte a tile of a row.
 */
export function encodeUsedStrip(
  picture: usize, stride: i32, planeBytes: usize, width: i32, height: i32, curve1: f32, curve2: f32, curve3: f32,
  centre: usize, reachMap: usize, frontBytes: usize, ordinal: i32, fractionBits: i32,
  uses: usize, usesBytes: i32, fullWidth: i32, fullHeight: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const columns = tileColumns >> 1;
  const rows = stripRows >> 1;
  const across = (fullWidth + tileColumns - 1) / tileColumns;
  const down = (fullHeight + stripRows - 1) / stripRows;
  const y1 = min(height, (strip + 1) * stripRows);
  const isRead = scratch;
  for (let top = strip * stripRows; top < y1; top += rows) {
    const bottom = min(y1, top + rows);
    for (let block = 0; block < across; block++) {
      const left = block * columns;
      const right = min(width, left + columns);
      let reads = isUsedAbout(uses, usesBytes, across, down, block, top / rows, ordinal);
      for (let y = top; y < bottom && !reads; y++) {
        const row = usize(y * stride) << 1;
        for (let x = left; x < right && !reads; x += 8) {
          const at = row + (usize(x) << 1);
          reads = isWeighed(centre + at, reachMap + at, frontBytes, ordinal, fractionBits);
        }
      }
      store<u8>(isRead + usize(block), reads ? 1 : 0);
    }
    // Blocks beside each other in one go, row by row.
    for (let block = 0; block < across; block++) {
      if (load<u8>(isRead + usize(block)) == 0) continue;
      const from = block == 0 ? -8 : block * columns;
      while (block + 1 < across && load<u8>(isRead + usize(block) + 1) != 0) block++;
      const to = block == across - 1 ? width + 8 : (block + 1) * columns;
      for (let y = top; y < bottom; y++) {
        for (let c = 0; c < 3; c++) {
          encodeRow(picture + usize(c) * planeBytes + (usize(y * stride) << 2), from, to, curve1, curve2, curve3);
        }
      }
    }
  }
}

/**
 * One row of one level into the accumulators. picture, coarse: planes of G_l (this row) and G_l+1 (row
 * `coarseFirst` at the pointer); coarse 0 = coarsest level. lost: see `weightRow`. scratch: 3 rows of width + 64 floats.
 */
// @ts-ignore: decorator
@inline
function accumulateRow(
  picture: usize, pictureBytes: usize,
  coarse: usize, coarseStride: i32, coarseBytes: usize, coarseFirst: i32, coarseHeight: i32,
  acc: usize, accBytes: usize, sum: usize,
  centre: usize, reachMap: usize, frontBytes: usize, ordinal: f32, lost: f32, fractionBits: i32,
  y: i32, x0: i32, x1: i32, width: i32, scratch: usize,
): void {
  const weights = scratch + 64;
  const span = weightRow(centre, reachMap, frontBytes, ordinal, x0, x1, weights, sum, lost, fractionBits);
  if (span == 0) return;
  const from = i32(span & 0xffffffff);
  const to = i32(span >> 32);
  const temp = weights + (usize(width + 64) << 2);
  for (let c = 0; c < 3; c++) {
    const p = picture + usize(c) * pictureBytes;
    const o = acc + usize(c) * accBytes;
    if (coarse != 0) {
      // Coarse columns one before and two after the span; from is a multiple of 8.
      expandColumns(coarse + usize(c) * coarseBytes, coarseStride, coarseFirst, coarseHeight, y, (from >> 1) - 4, (to >> 1) + 4, temp);
    }
    for (let x = from; x < to; x += 8) {
      const at = usize(x) << 2;
      const w0 = v128.load(weights + at);
      const w1 = v128.load(weights + at, 16);
      if (!v128.any_true(v128.or(w0, w1))) continue;
      let g0 = v128.load(p + at);
      let g1 = v128.load(p + at, 16);
      if (coarse != 0) {
        g0 = v128.sub<f32>(g0, expandFour(temp, x >> 1));
        g1 = v128.sub<f32>(g1, expandFour(temp, (x >> 1) + 2));
      }
      v128.store(o + at, v128.add<f32>(v128.load(o + at), v128.mul<f32>(g0, w0)));
      v128.store(o + at, v128.add<f32>(v128.load(o + at, 16), v128.mul<f32>(g1, w1)), 16);
    }
  }
}

/** Level l >= 1 of a frame whose G_l and G_l+1 (0 = none) lie in memory: rows of one strip. */
export function accumulateStrip(
  picture: usize, stride: i32, pictureBytes: usize, width: i32, height: i32,
  coarse: usize, coarseStride: i32, coarseBytes: usize,
  acc: usize, accBytes: usize, sum: usize, centre: usize, reachMap: usize, frontBytes: usize, ordinal: f32, fractionBits: i32,
  a: f64, b: f64, c: f64, d: f64, e: f64, f: f64, lastColumn: f64, lastRow: f64, margin: f64,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  for (let y = strip * stripRows; y < y1; y++) {
    const columns = reach(a, b, c, d, e, f, lastColumn, lastRow, margin, y, width);
    if (columns == 0) continue;
    const row = usize(y * stride);
    accumulateRow(
      picture + (row << 2), pictureBytes, coarse, coarseStride, coarseBytes, 0, (height + 1) >> 1,
      acc + (row << 2), accBytes, sum + (row << 2), centre + (row << 1), reachMap + (row << 1), frontBytes, ordinal, 0, fractionBits,
      y, i32(columns & 0xffffffff), i32(columns >> 32), width, scratch,
    );
  }
}

/**
 * The finest level of a frame, rows of one strip: only tiles in which the frame has any weight are warped, and
 * neither the warped picture nor its Laplacian reaches memory. coarse: planes of G_1, in memory as a whole.
 * uses: one bit a tile and frame, `usesBytes` a tile, tiles row by row; bit = ordinal.
 * lost: see `weightRow`.
 * scratch: warp scratch of `warpScratchBytes`, then stripRows * stride * 3 floats and 3 rows.
 */
export function blendFinestStrip(
  source: usize, bits: i32, sourceWidth: i32, sourceHeight: i32, gainR: f32, gainG: f32, gainB: f32,
  a: f64, b: f64, c: f64, d: f64, e: f64, f: f64, taps: usize,
  width: i32, height: i32, stride: i32,
  coarse: usize, coarseStride: i32, coarseBytes: usize,
  acc: usize, accBytes: usize, sum: usize, centre: usize, reachMap: usize, frontBytes: usize, ordinal: i32, fractionBits: i32, margin: f64, lost: f32,
  uses: usize, usesBytes: i32,
  warpScratchBytes: usize, stripRows: i32, strip: i32, scratch: usize,
): void {
  const y0 = strip * stripRows;
  const y1 = min(height, y0 + stripRows);
  const fineBytes = (usize(stripRows) * usize(stride)) << 2;
  const fine = scratch + warpScratchBytes + 64;
  const temp = fine + 3 * fineBytes + 64;
  const tiles = (width + tileColumns - 1) / tileColumns;
  const bit: i32 = 1 << (ordinal & 7);
  let use = uses + usize(strip * tiles * usesBytes + (ordinal >> 3));
  const gain = gainOf(bits, gainR, gainG, gainB);
  let tile = 0;
  while (tile < tiles) {
    if (!(i32(load<u8>(use)) & bit)) {
      tile++;
      use += usize(usesBytes);
      continue;
    }
    const from = tile * tileColumns;
    // A run of tiles shares its edges; eight at the most stay in cache.
    let run = 0;
    while (tile < tiles && run < 8 && i32(load<u8>(use)) & bit) {
      tile++;
      run++;
      use += usize(usesBytes);
    }
    const to = min(width, tile * tileColumns);
    warpBlock(
      source, bits, sourceWidth, sourceHeight, gain, a, b, c, d, e, f, taps,
      fine + (usize(from) << 2), stride, fineBytes, from, to, y0, y1, scratch,
    );
    for (let y = y0; y < y1; y++) {
      const columns = reach(a, b, c, d, e, f, f64(sourceWidth - 1), f64(sourceHeight - 1), margin, y, width);
      if (columns == 0) continue;
      const x0 = max(from, i32(columns & 0xffffffff));
      const x1 = min(to, i32(columns >> 32));
      if (x1 <= x0) continue;
      const row = usize(y) * usize(stride);
      accumulateRow(
        fine + (usize((y - y0) * stride) << 2), fineBytes, coarse, coarseStride, coarseBytes, 0, (height + 1) >> 1,
        acc + (row << 2), accBytes, sum + (row << 2), centre + (row << 1), reachMap + (row << 1), frontBytes, f32(ordinal), lost, fractionBits,
        y, x0, x1, width, temp,
      );
    }
  }
}

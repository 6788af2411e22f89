// Which frames each coefficient of each level comes from, decided from the surface: see curve-state.ts for the planes
// and blend.ts for what centre and reach mean.
import { indexOffset, gapBit, leakedPeak, truncatedCurve, tileColumns, windowRadius, endReach64ths, clearReach, faintReach, clearRise, singleReach, flatReach, finestLevels, halfStep } from './constants';
import { apartOf } from './common';
import { unitsOf64ths } from './curve-state';
import { frameSpans, isReached } from './frame-bounds';

/** The offset of stored depth indices, in their units. */
// @ts-ignore: decorator
@inline
function offsetCode(fractionBits: i32): i32 {
  return i32(indexOffset) << fractionBits;
}

/**
 * The surface of a level from the one of twice its size. Each depth index is the median of the 3 x 3 finer ones about
 * it, so that a bristle does not speak for what lies behind it. `near`: beside a depth edge the nearer surface
 * then wins over the reach of one finer pixel: in a frame sharp on the farther one, the nearer one's blur lies
 * over both, while in its own frame only the farther is blurred, which at this level hardly shows. It wins where it is
 * nearer by more than nearApart, stored units: a narrower blur does not reach over a pixel.
 * nearSign: 1 when nearer means a lower ordinal, -1 when higher, 0: near = median. Rows of one strip.
 */
export function halveIndicesStrip(
  fine: usize, fineStride: i32, fineWidth: i32, fineHeight: i32,
  median: usize, near: usize, stride: i32, width: i32, height: i32, nearSign: i32, nearApart: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  for (let y = strip * stripRows; y < y1; y++) {
    const above = fine + ((usize(max(0, 2 * y - 1)) * usize(fineStride)) << 1);
    const here = fine + ((usize(min(fineHeight - 1, 2 * y)) * usize(fineStride)) << 1);
    const below = fine + ((usize(min(fineHeight - 1, 2 * y + 1)) * usize(fineStride)) << 1);
    const row = (usize(y) * usize(stride)) << 1;
    for (let x = 0; x < width; x++) {
      // Away from the ends of the row eight at once.
      for (; x > 0 && 2 * x + 16 <= fineWidth; x += 8) {
        const q = usize(2 * x) << 1;
        halveEight(above + q, here + q, below + q, median + row + (usize(x) << 1), near == median ? 0 : near + row + (usize(x) << 1), nearSign, nearApart);
      }
      if (x >= width) break;
      const l = usize(max(0, 2 * x - 1)) << 1;
      const c = usize(min(fineWidth - 1, 2 * x)) << 1;
      const r = usize(min(fineWidth - 1, 2 * x + 1)) << 1;
      let a = i32(load<u16>(above + l)), b = i32(load<u16>(above + c)), d = i32(load<u16>(above + r));
      let e = i32(load<u16>(here + l)), f = i32(load<u16>(here + c)), g = i32(load<u16>(here + r));
      let h = i32(load<u16>(below + l)), i = i32(load<u16>(below + c)), j = i32(load<u16>(below + r));
      // Each row sorted; the median is the median of: largest least, median middle, least largest.
      let low = min(a, min(b, d)), high = max(a, max(b, d));
      const mid0 = a + b + d - low - high, low0 = low, high0 = high;
      low = min(e, min(f, g));
      high = max(e, max(f, g));
      const mid1 = e + f + g - low - high, low1 = low, high1 = high;
      low = min(h, min(i, j));
      high = max(h, max(i, j));
      const mid2 = h + i + j - low - high, low2 = low, high2 = high;
      const lowest = max(low0, max(low1, low2));
      const highest = min(high0, min(high1, high2));
      const middle = max(min(mid0, mid1), min(max(mid0, mid1), mid2));
      const at = row + (usize(x) << 1);
      const centre = max(min(lowest, middle), min(max(lowest, middle), highest));
      store<u16>(median + at, centre);
      if (near != median) {
        const nearest = nearSign > 0 ? min(low0, min(low1, low2)) : max(high0, max(high1, high2));
        store<u16>(near + at, nearSign * (centre - nearest) > nearApart ? nearest : centre);
      }
    }
  }
}

/** As `halveIndicesStrip`, of eight pixels: addresses of the finer ones at them in three rows, and of what is made, near 0 = not. */
// @ts-ignore: decorator
@inline
function halveEight(above: usize, here: usize, below: usize, median: usize, near: usize, nearSign: i32, nearApart: i32): void {
  const a = columnBefore(above), b = columnAt(above), d = columnAfter(above);
  const e = columnBefore(here), f = columnAt(here), g = columnAfter(here);
  const h = columnBefore(below), i = columnAt(below), j = columnAfter(below);
  const low0 = lowest(a, b, d), low1 = lowest(e, f, g), low2 = lowest(h, i, j);
  const high0 = highest(a, b, d), high1 = highest(e, f, g), high2 = highest(h, i, j);
  const middle = middleOf(middleOf(a, b, d), middleOf(e, f, g), middleOf(h, i, j));
  const centre = middleOf(highest(low0, low1, low2), middle, lowest(high0, high1, high2));
  v128.store(median, centre);
  if (near == 0) return;
  const nearest = nearSign > 0 ? lowest(low0, low1, low2) : highest(high0, high1, high2);
  const isNearer = isBehind(centre, nearest, i16x8.splat(i16(min(0xffff, nearApart))), nearSign);
  v128.store(near, v128.bitselect(nearest, centre, isNearer));
}

/** Of sixteen pixels every other one, and those before and after them. */
// @ts-ignore: decorator
@inline
function columnAt(p: usize): v128 {
  return i16x8.shuffle(v128.load(p), v128.load(p, 16), 0, 2, 4, 6, 8, 10, 12, 14);
}

// @ts-ignore: decorator
@inline
function columnAfter(p: usize): v128 {
  return i16x8.shuffle(v128.load(p), v128.load(p, 16), 1, 3, 5, 7, 9, 11, 13, 15);
}

// @ts-ignore: decorator
@inline
function columnBefore(p: usize): v128 {
  return columnAfter(p - 4);
}

// @ts-ignore: decorator
@inline
function lowest(a: v128, b: v128, c: v128): v128 {
  return i16x8.min_u(a, i16x8.min_u(b, c));
}

// @ts-ignore: decorator
@inline
function highest(a: v128, b: v128, c: v128): v128 {
  return i16x8.max_u(a, i16x8.max_u(b, c));
}

// @ts-ignore: decorator
@inline
function middleOf(a: v128, b: v128, c: v128): v128 {
  return i16x8.max_u(i16x8.min_u(a, b), i16x8.min_u(i16x8.max_u(a, b), c));
}

/** Rules by number. */
const ruleSelect: i32 = 1;
const ruleAuto: i32 = 0;

/**
 * Centre and reach of one level, rows of one strip.
 *
 * depthIndices: the level's surface. weights: level 0's, in units of which `fullWeight` means confident; 0 = level 0 has
 * none. fullIndices, fullFronts: level 0's surface, in rows like the weights', and its front layers, in rows of fullPeakStride.
 * peaks: plane 0 of the level's peaks (0 = not followed). frames: seven f64 a frame: composite pixel to
 * frame pixel at this level (a b c d e f) and the margin. fronts: ordinals of nearer peaks, as `frontOf` in peaks.ts
 * has found them, in rows like the peaks'; they count when they are nearer than the centre by more than frontApart,
 * stored units. Peaks within sameIndex of a depth index, stored units, mean it. frontBytes: from the reaches to the plane of
 * front layers' ordinals; 0 = they stand in the high ten bits of the reaches, which hold 1023 frames. sources, uses: level 0 alone, else 0: ordinal
 * that supplies the detail, and one bit a tile and frame, cleared before. scratch: two i32 a frame.
 */
export function planStrip(
  depthIndices: usize, indexStride: i32, fullIndices: usize, weights: usize, weightStride: i32, fullWidth: i32, fullHeight: i32, fullWeight: i32,
  fullFronts: usize, fullPeakStride: i32,
  peaks: usize, peakBytes: usize, peakStride: i32, fronts: usize, frontApart: i32, sameIndex: i32, nearSign: i32,
  centres: usize, reaches: usize, frontBytes: usize, stride: i32, width: i32, height: i32, level: i32, rule: i32, fractionBits: i32,
  frames: usize, count: i32, lastColumn: f64, lastRow: f64,
  sources: usize, uses: usize, usesBytes: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const eight = scratch;
  const spans = scratch + 64;
  const offset = offsetCode(fractionBits);
  const lastCentre = count << fractionBits;
  const halfFrame = i16x8.splat(i16(i32(1) << (fractionBits - 1)));
  const tiles = (width + tileColumns - 1) / tileColumns;
  const y0 = strip * stripRows;
  const y1 = min(height, y0 + stripRows);
  for (let y = y0; y < y1; y++) {
    const all = frameSpans(frames, count, lastColumn, lastRow, y, width, spans);
    const allFrom = i32(all & 0xffffffff);
    const allTo = i32(all >> 32);
    const indexRow = depthIndices + ((usize(y) * usize(indexStride)) << 1);
    const weightRow = weights + ((usize(min(fullHeight - 1, y << level)) * usize(weightStride)) << 1);
    const row = (usize(y) * usize(stride)) << 1;
    const peakRow = peaks + ((usize(y) * usize(peakStride)) << 1);
    const frontRow = fronts + ((usize(y) * usize(peakStride)) << 1);
    let markedTile: usize = 0;
    let markedFirst = 0;
    let markedLast = 0;
    for (let x = 0; x < width; x++) {
      // Most pixels are reached by all frames: eight at once.
      while (x >= allFrom && x + 8 <= allTo && (x & 7) == 0 && (x + 7) << level < fullWidth) {
        const at = usize(x) << 1;
        const centre = planEight(
          indexRow + at, level < finestLevels ? weightRow + (at << level) : 0, fullWeight, level, rule, fractionBits, count,
          peaks != 0 ? peakRow + at : 0, peakBytes, frontRow + at, frontApart, sameIndex, nearSign,
          x, y, fullIndices, weightStride, fullFronts, fullPeakStride, fullWidth, fullHeight,
          centres + row + at, reaches + row + at, frontBytes, eight,
        );
        if (level == 0) {
          v128.store(sources + ((usize(y) * usize(width) + usize(x)) << 1), i16x8.shr_u(i16x8.add(centre, halfFrame), fractionBits));
          const tile = uses + usize((strip * tiles + x / tileColumns) * usesBytes);
          const firsts = v128.load(eight);
          const lasts = v128.load(eight, 16);
          const fronts = v128.load(eight, 32);
          const isMarked = v128.and(i16x8.ge_s(firsts, i16x8.splat(i16(markedFirst))), i16x8.le_s(lasts, i16x8.splat(i16(markedLast))));
          if (tile != markedTile || !i16x8.all_true(isMarked) || v128.any_true(fronts)) {
            for (let lane = eight; lane < eight + 16; lane += 2) {
              const front = i32(load<u16>(lane, 32));
              if (front > 0) markUses(tile, front, front);
              const first = i32(load<u16>(lane));
              const last = i32(load<u16>(lane, 16));
              // Neighbours mostly ask for the same frames.
              if (tile == markedTile && first >= markedFirst && last <= markedLast) continue;
              markedTile = tile;
              markedFirst = first;
              markedLast = last;
              markUses(tile, first, last);
            }
          }
        }
        x += 8;
      }
      if (x >= width) break;
      let centre = i32(load<u16>(indexRow + (usize(x) << 1))) - offset;
      let width64 = clearReach;
      let near = 0;
      // What a single frame shows is not averaged.
      if (level < finestLevels && !(rule == ruleSelect && peaks != 0)) {
        const weight = i32(load<u16>(weightRow + (usize(min(fullWidth - 1, x << level)) << 1)));
        const unsure = fullWeight - min(fullWeight, weight);
        width64 = max(width64, 64 + (unsure * (flatReach - 64)) / fullWeight) & ~3;
      }
      if (peaks != 0) {
        const at = peakRow + (usize(x) << 1);
        if (rule == ruleSelect) {
          const ordinal = i32(load<u16>(at + 6 * peakBytes));
          if (ordinal > 0) centre = ordinal << fractionBits;
          width64 = singleReach;
        } else if (rule == ruleAuto) {
          if (level < finestLevels) near = i32(load<u16>(frontRow + (usize(x) << 1)));
          const own = i32(load<u16>(at + peakBytes)) - offset;
          if (level > 0 && near > 0) {
            const isBefore = max(nearSign * centre, nearSign * own) - nearSign * (near << fractionBits) > frontApart;
            if (isBefore && !isThere(near << fractionBits, sameIndex, x, y, level, fullIndices, weightStride, fullFronts, fullPeakStride, fullWidth, fullHeight, fractionBits)) near = 0;
          }
          // What can be laid over the rest need not take its place.
          const isLaid = near > 0 && nearSign * (centre - (near << fractionBits)) > frontApart && nearSign * (centre - own) > frontApart;
          const isClear = i32(load<u16>(at)) > clearRise && !isLaid;
          if (isClear) {
            // Level 0 is its own witness; a coarser level needs one where it means something else than the surface.
            const isFounded = level == 0 || abs(own - centre) < sameIndex ||
              isThere(own, sameIndex, x, y, level, fullIndices, weightStride, fullFronts, fullPeakStride, fullWidth, fullHeight, fractionBits);
            if (isFounded) {
              centre = own;
              width64 = clearReach;
            }
          }
          if (i32(load<u16>(at)) < clearRise) width64 = max(width64, faintReach);
        }
      }
      centre = max(1 << fractionBits, min(lastCentre, centre));
      const blendWidth = unitsOf64ths(width64, fractionBits);
      let nearest = (centre + (1 << (fractionBits - 1))) >> fractionBits;
      if (x < allFrom || x >= allTo) {
        // Not every frame reaches here: the centre moves to where the nearest that does keeps a weight.
        nearest = nearestFrame(spans, count, x, centre, fractionBits);
        const most = (blendWidth * 7) / 10;
        const nearestCentre = nearest << fractionBits;
        if (nearest > 0 && abs(nearestCentre - centre) > most) {
          centre = nearestCentre + (centre > nearestCentre ? most : -most);
        }
      }
      const front = near > 0 && nearSign * (centre - (near << fractionBits)) > frontApart ? near : 0;
      store<u16>(centres + row + (usize(x) << 1), centre);
      const reachAt = reaches + row + (usize(x) << 1);
      store<u16>(reachAt, (width64 >> 2) | (frontBytes == 0 ? front << 6 : 0));
      if (frontBytes != 0) store<u16>(reachAt + frontBytes, front);
      if (level == 0) {
        store<u16>(sources + ((usize(y) * usize(width) + usize(x)) << 1), nearest);
        const tile = uses + usize((strip * tiles + x / tileColumns) * usesBytes);
        const first = max(1, ((centre - blendWidth) >> fractionBits) + 1);
        const last = min(count, (centre + blendWidth - 1) >> fractionBits);
        if (front > 0) markUses(tile, front, front);
        if (tile == markedTile && first >= markedFirst && last <= markedLast) continue;
        markedTile = tile;
        markedFirst = first;
        markedLast = last;
        markUses(tile, first, last);
      }
    }
  }
}

/** Marks frames as used by a tile. */
// @ts-ignore: decorator
@inline
function markUses(tile: usize, first: i32, last: i32): void {
  for (let k = first; k <= last; k++) {
    const byte = tile + usize(k >> 3);
    store<u8>(byte, i32(load<u8>(byte)) | (1 << (k & 7)));
  }
}

/** Weights of level 0 at eight pixels of a level, which lie 2^level apart. */
// @ts-ignore: decorator
@inline
function eightWeights(at: usize, level: i32): v128 {
  const first = v128.load(at);
  if (level == 0) return first;
  const second = v128.load(at, 16);
  if (level == 1) return i16x8.shuffle(first, second, 0, 2, 4, 6, 8, 10, 12, 14);
  const low = i16x8.shuffle(first, second, 0, 4, 8, 12, 0, 4, 8, 12);
  const high = i16x8.shuffle(v128.load(at, 32), v128.load(at, 48), 0, 4, 8, 12, 0, 4, 8, 12);
  return i16x8.shuffle(low, high, 0, 1, 2, 3, 8, 9, 10, 11);
}

/** Where one depth index lies behind another by more than `apart`. */
// @ts-ignore: decorator
@inline
function isBehind(index: v128, other: v128, apart: v128, nearSign: i32): v128 {
  if (nearSign == 0) return i16x8.splat(0);
  return i16x8.gt_u(nearSign > 0 ? i16x8.sub_sat_u(index, other) : i16x8.sub_sat_u(other, index), apart);
}

/** How far a blend of 64ths of a frame reaches where the surface is unsure: of four weights. */
// @ts-ignore: decorator
@inline
function widthsOf(weights: v128, fullWeight: i32): v128 {
  const unsure = i32x4.sub(i32x4.splat(fullWeight), weights);
  const wider = v128.convert<i32>(i32x4.mul(unsure, i32x4.splat(flatReach - 64)));
  return i32x4.add(i32x4.splat(64), v128.trunc_sat<i32>(v128.div<f32>(wider, f32x4.splat(f32(fullWeight)))));
}

/**
 * Plans eight pixels that all frames reach, as `planStrip` does one, and returns their centres. Depth indices are stored ones,
 * offset included. indices, weights, peaks, fronts, centres, reaches: addresses of theirs, 0 = none. out: then holds the first and
 * the last frame of each, and the front layer, in three rows of 16 bytes.
 */
// @ts-ignore: decorator
@inline
function planEight(
  indices: usize, weights: usize, fullWeight: i32, level: i32, rule: i32, fractionBits: i32, count: i32,
  peaks: usize, peakBytes: usize, fronts: usize, frontApart: i32, sameIndex: i32, nearSign: i32,
  x: i32, y: i32, fullIndices: usize, weightStride: i32, fullFronts: usize, fullPeakStride: i32, fullWidth: i32, fullHeight: i32,
  centres: usize, reaches: usize, frontBytes: usize, out: usize,
): v128 {
  const zero = i16x8.splat(0);
  const clear = i16x8.splat(i16(clearReach));
  const offset = i16x8.splat(i16(offsetCode(fractionBits)));
  const apart = i16x8.splat(i16(min(0xffff, frontApart)));
  let index = v128.load(indices);
  let width64 = clear;
  let near = zero;
  let nearIndex = zero;
  if (weights != 0 && !(rule == ruleSelect && peaks != 0)) {
    const weight = i16x8.min_u(eightWeights(weights, level), i16x8.splat(i16(fullWeight)));
    const wider = i16x8.narrow_i32x4_s(widthsOf(v128.extend_low<u16>(weight), fullWeight), widthsOf(v128.extend_high<u16>(weight), fullWeight));
    width64 = v128.andnot(i16x8.max_s(width64, wider), i16x8.splat(3));
  }
  if (peaks != 0) {
    if (rule == ruleSelect) {
      const ordinal = v128.load(peaks + 6 * peakBytes);
      const sharpest = i16x8.add(i16x8.shl(ordinal, fractionBits), offset);
      index = v128.bitselect(index, sharpest, i16x8.eq(ordinal, zero));
      width64 = i16x8.splat(i16(singleReach));
    } else if (rule == ruleAuto) {
      const own = v128.load(peaks + peakBytes);
      if (level < finestLevels) {
        near = v128.load(fronts);
        nearIndex = i16x8.add(i16x8.shl(near, fractionBits), offset);
        if (level > 0 && v128.any_true(near)) {
          const isBefore = v128.or(isBehind(index, nearIndex, apart, nearSign), isBehind(own, nearIndex, apart, nearSign));
          const asked = v128.andnot(isBefore, i16x8.eq(near, zero));
          near = v128.andnot(near, v128.andnot(asked, eightThere(asked, nearIndex, out, sameIndex, x, y, level, fullIndices, weightStride, fullFronts, fullPeakStride, fullWidth, fullHeight, fractionBits)));
        }
      }
      const hasNear = v128.not(i16x8.eq(near, zero));
      const isLaid = v128.and(hasNear, v128.and(isBehind(index, nearIndex, apart, nearSign), isBehind(index, own, apart, nearSign)));
      const rise = v128.load(peaks);
      let founded = v128.andnot(i16x8.gt_u(rise, i16x8.splat(i16(clearRise))), isLaid);
      if (level > 0) {
        const asked = v128.and(founded, i16x8.ge_u(apartOf(own, index), i16x8.splat(i16(sameIndex))));
        founded = v128.andnot(founded, v128.andnot(asked, eightThere(asked, own, out, sameIndex, x, y, level, fullIndices, weightStride, fullFronts, fullPeakStride, fullWidth, fullHeight, fractionBits)));
      }
      index = v128.bitselect(own, index, founded);
      width64 = v128.bitselect(clear, width64, founded);
      const isFaint = i16x8.lt_u(rise, i16x8.splat(i16(clearRise)));
      width64 = i16x8.max_s(width64, v128.and(i16x8.splat(i16(faintReach)), isFaint));
    }
  }
  index = i16x8.max_u(i16x8.add(i16x8.splat(i16(i32(1) << fractionBits)), offset), i16x8.min_u(i16x8.add(i16x8.splat(i16(count << fractionBits)), offset), index));
  const centre = i16x8.sub(index, offset);
  const front = v128.and(near, isBehind(index, nearIndex, apart, nearSign));
  v128.store(centres, centre);
  const reach = i16x8.shr_u(width64, 2);
  v128.store(reaches, frontBytes == 0 ? v128.or(reach, i16x8.shl(front, 6)) : reach);
  if (frontBytes != 0) v128.store(reaches + frontBytes, front);
  if (level == 0) {
    const blendWidth = i16x8.shr_u(width64, 6 - fractionBits);
    // With the offset a centre less its reach is no less than zero.
    const first = i16x8.sub(i16x8.shr_u(i16x8.sub(index, blendWidth), fractionBits), i16x8.splat(i16(indexOffset) - 1));
    const last = i16x8.shr_u(i16x8.sub(i16x8.add(centre, blendWidth), i16x8.splat(1)), fractionBits);
    v128.store(out, i16x8.max_s(i16x8.splat(1), first));
    v128.store(out, i16x8.min_s(i16x8.splat(i16(count)), last), 16);
    v128.store(out, front, 32);
  }
  return centre;
}

/** `isThere` for those of eight pixels that are `asked`, of stored depth indices; scratch: 16 bytes. */
function eightThere(
  asked: v128, indices: v128, scratch: usize, sameIndex: i32, x: i32, y: i32, level: i32,
  fullIndices: usize, stride: i32, fronts: usize, frontStride: i32, width: i32, height: i32, fractionBits: i32,
): v128 {
  v128.store(scratch, indices);
  let found: i32 = 0;
  for (let bits = i16x8.bitmask(asked); bits != 0; bits &= bits - 1) {
    const lane = i32(ctz(bits));
    const depthIndex = i32(load<u16>(scratch + (usize(lane) << 1))) - offsetCode(fractionBits);
    if (isThere(depthIndex, sameIndex, x + lane, y, level, fullIndices, stride, fronts, frontStride, width, height, fractionBits)) found |= 1 << lane;
  }
  const lanes = i16x8(1, 2, 4, 8, 16, 32, 64, 128);
  return i16x8.eq(v128.and(i16x8.splat(i16(found)), lanes), lanes);
}

/**
 * Whether the surface of level 0 or something thin before it lies within `sameIndex` of `depthIndex` (stored units) in the window
 * of a coarser pixel. The blur of an edge makes peaks at coarse levels where nothing is: they have no fine detail.
 */
function isThere(
  depthIndex: i32, sameIndex: i32, x: i32, y: i32, level: i32, depthIndices: usize, stride: i32, fronts: usize, frontStride: i32, width: i32, height: i32,
  fractionBits: i32,
): bool {
  for (let dy = -windowRadius; dy <= windowRadius; dy++) {
    const v = usize(max(0, min(height - 1, (y + dy) << level)));
    for (let dx = -windowRadius; dx <= windowRadius; dx++) {
      const u = usize(max(0, min(width - 1, (x + dx) << level)));
      const surface = i32(load<u16>(depthIndices + ((v * usize(stride) + u) << 1))) - offsetCode(fractionBits);
      if (abs(surface - depthIndex) <= sameIndex) return true;
      const front = (i32(load<u16>(fronts + ((v * usize(frontStride) + u) << 1)))) << fractionBits;
      if (front > 0 && abs(front - depthIndex) <= sameIndex) return true;
    }
  }
  return false;
}

/** Ordinal of the frame nearest to a centre (stored units, without offset) that reaches column x; 0 when none does. */
// @ts-ignore: decorator
@inline
function nearestFrame(spans: usize, count: i32, x: i32, centre: i32, fractionBits: i32): i32 {
  let nearest = 0;
  for (let k = 1; k <= count; k++) {
    if (!isReached(spans, k, x)) continue;
    if (nearest == 0 || abs((k << fractionBits) - centre) < abs((nearest << fractionBits) - centre)) nearest = k;
  }
  return nearest;
}

/** Whether most curves about a pixel fall too far between two frames: of a single one noise may bend the peak. */
// @ts-ignore: decorator
@inline
function isGap(gaps: usize, weights: usize, stride: i32, width: i32, height: i32, x: i32, y: i32): bool {
  if ((i32(load<u16>(gaps + ((usize(y) * usize(stride) + usize(x)) << 1))) & gapBit) == 0) return false;
  let missed = 0;
  let known = 0;
  for (let yy = max(0, y - windowRadius); yy <= min(height - 1, y + windowRadius); yy++) {
    for (let xx = max(0, x - windowRadius); xx <= min(width - 1, x + windowRadius); xx++) {
      const at = (usize(yy) * usize(stride) + usize(xx)) << 1;
      if (load<u16>(weights + at) == 0) continue;
      known++;
      if ((i32(load<u16>(gaps + at)) & gapBit) != 0) missed++;
    }
  }
  return 2 * missed > known;
}

/**
 * Whether a frame that may be sharp at a depth index (1/64 frame) reaches column x. Beyond an end of the stack it is the end's
 * frame, beside a plain step one as near as beyond the ends, in a long step the nearer one.
 */
// @ts-ignore: decorator
@inline
function isInReach(spans: usize, count: i32, reaches: usize, depthIndex: i32, x: i32): bool {
  const inside = max(64, min(count << 6, depthIndex));
  const before = inside >> 6;
  const into = inside & 63;
  if (into == 0) return isReached(spans, before, x);
  const most = load<i32>(reaches + (usize(before) << 2)) > 0 ? halfStep : endReach64ths;
  return (into <= most && isReached(spans, before, x)) || (64 - into <= most && isReached(spans, before + 1, x));
}

/**
 * Whether a pixel that shows nothing itself is known by the detail of something beside it: by a leak, or by neighbours of which
 * most are leaks.
 */
function isBesideDetail(gaps: usize, certainties: usize, stride: i32, width: i32, height: i32, x: i32, y: i32): bool {
  const here = (usize(y) * usize(stride) + usize(x)) << 1;
  if (load<u16>(certainties + here) != 0 && i32(load<u16>(gaps + here)) != leakedPeak) return false;
  let leaks = 0;
  let own = 0;
  for (let v = max(0, y - windowRadius); v <= min(height - 1, y + windowRadius); v++) {
    for (let u = max(0, x - windowRadius); u <= min(width - 1, x + windowRadius); u++) {
      const at = (usize(v) * usize(stride) + usize(u)) << 1;
      if (i32(load<u16>(gaps + at)) == leakedPeak) leaks++;
      else if (load<u16>(certainties + at) != 0) own++;
    }
  }
  return leaks > own;
}

/** How often a mark stands in the windows about eight pixels, from the counts of the columns about them, at `counts` + 16 on. */
// @ts-ignore: decorator
@inline
function acrossWindow(counts: usize): v128 {
  let sum = v128.load(counts, 16);
  for (let i = 1; i <= windowRadius; i++) {
    const away = usize(i) << 1;
    sum = i16x8.add(sum, i16x8.add(v128.load(counts + 16 - away), v128.load(counts + 16 + away)));
  }
  return sum;
}

/** As `isGap`, of eight pixels whose windows lie in the picture but for rows: addresses of theirs. scratch: 96 bytes. */
function areGaps(gaps: usize, weights: usize, stride: i32, height: i32, y: i32, scratch: usize): v128 {
  const zero = i16x8.splat(0);
  const gap = i16x8.splat(i16(gapBit));
  for (let part: isize = -1; part <= 1; part++) {
    let missed = zero;
    let known = zero;
    for (let j = max(-windowRadius, -y); j <= min(windowRadius, height - 1 - y); j++) {
      const at = (isize(j * stride) << 1) + (part << 4);
      const isKnown = v128.not(i16x8.eq(v128.load(weights + at), zero));
      known = i16x8.sub(known, isKnown);
      missed = i16x8.sub(missed, v128.and(isKnown, i16x8.eq(v128.and(v128.load(gaps + at), gap), gap)));
    }
    const to = scratch + 16 + (part << 4);
    v128.store(to, known);
    v128.store(to, missed, 48);
  }
  const missed = acrossWindow(scratch + 48);
  const isHere = i16x8.eq(v128.and(v128.load(gaps), gap), gap);
  return v128.and(isHere, i16x8.gt_s(i16x8.add(missed, missed), acrossWindow(scratch)));
}

/** As `isBesideDetail`, of eight pixels whose windows lie in the picture but for rows: addresses of theirs. scratch: 96 bytes. */
function areBesideDetail(gaps: usize, certainties: usize, stride: i32, height: i32, y: i32, scratch: usize): v128 {
  const zero = i16x8.splat(0);
  const leaked = i16x8.splat(i16(leakedPeak));
  for (let part: isize = -1; part <= 1; part++) {
    let leaks = zero;
    let own = zero;
    for (let j = max(-windowRadius, -y); j <= min(windowRadius, height - 1 - y); j++) {
      const at = (isize(j * stride) << 1) + (part << 4);
      const isLeak = i16x8.eq(v128.load(gaps + at), leaked);
      leaks = i16x8.sub(leaks, isLeak);
      own = i16x8.sub(own, v128.not(v128.or(isLeak, i16x8.eq(v128.load(certainties + at), zero))));
    }
    const to = scratch + 16 + (part << 4);
    v128.store(to, leaks);
    v128.store(to, own, 48);
  }
  const isAsked = v128.or(i16x8.eq(v128.load(certainties), zero), i16x8.eq(v128.load(gaps), leaked));
  return v128.and(isAsked, i16x8.gt_s(acrossWindow(scratch), acrossWindow(scratch + 48)));
}

/**
 * Coverage classes of eight pixels that all frames reach, where no step is long, from depth indices as they are stored, covered
 * from `lowest` to `highest`: addresses of theirs. Their windows lie in the picture but for rows. scratch: 96 bytes.
 */
// @ts-ignore: decorator
@inline
function kindsOfEight(
  depthIndices: usize, weights: usize, gaps: usize, certainties: usize, stride: i32, height: i32, y: i32, lowest: i32, highest: i32,
  fullWeight: i32, scratch: usize,
): v128 {
  const zero = i16x8.splat(0);
  const index = v128.load(depthIndices);
  const mark = v128.load(gaps);
  const isBefore = i16x8.lt_u(index, i16x8.splat(i16(lowest)));
  const isAfter = i16x8.gt_u(index, i16x8.splat(i16(min(0xffff, highest))));
  let kinds = v128.bitselect(i16x8.splat(1), v128.and(i16x8.splat(2), isAfter), isBefore);
  const isOut = v128.or(isBefore, isAfter);
  const isMarked = v128.andnot(i16x8.eq(v128.and(mark, i16x8.splat(i16(gapBit))), i16x8.splat(i16(gapBit))), isOut);
  const isFaint = i16x8.lt_u(v128.load(weights), i16x8.splat(i16((fullWeight + 7) >> 3)));
  if (v128.any_true(v128.andnot(isMarked, isFaint))) {
    kinds = v128.bitselect(i16x8.splat(3), kinds, v128.and(isMarked, areGaps(gaps, weights, stride, height, y, scratch)));
  }
  let isUnknown = isFaint;
  const isAsked = v128.or(i16x8.eq(v128.load(certainties), zero), i16x8.eq(mark, i16x8.splat(i16(leakedPeak))));
  if (v128.any_true(v128.andnot(isAsked, isFaint))) isUnknown = v128.or(isUnknown, areBesideDetail(gaps, certainties, stride, height, y, scratch));
  return v128.bitselect(i16x8.splat(4), kinds, isUnknown);
}

/** Confidence of eight pixels, in the low eight bytes: addresses of theirs. */
// @ts-ignore: decorator
@inline
function confidenceOfEight(weights: usize, certainties: usize, fullWeight: i32): v128 {
  const weight = i16x8.min_u(v128.load(weights), i16x8.splat(i16(fullWeight)));
  const part = i16x8.narrow_i32x4_s(
    partOfFull(v128.extend_low<u16>(weight), fullWeight),
    partOfFull(v128.extend_high<u16>(weight), fullWeight),
  );
  const least = i16x8.min_s(part, v128.load(certainties));
  return i8x16.narrow_i16x8_u(least, least);
}

/** 255ths of `fullWeight`, rounded. */
// @ts-ignore: decorator
@inline
function partOfFull(weight: v128, fullWeight: i32): v128 {
  const scaled = i32x4.add(i32x4.mul(weight, i32x4.splat(255)), i32x4.splat(fullWeight >> 1));
  return v128.trunc_sat<i32>(v128.div<f32>(v128.convert<i32>(scaled), f32x4.splat(f32(fullWeight))));
}

/**
 * Confidence (0..255) and coverage class (see result/coverage.ts) of each pixel, rows tight, of one strip.
 * depthIndices, weights, gaps, certainties (0..255, the most confidence): planes of level 0. A pixel whose confidence is below 1/8 only takes its neighbours' depth index.
 * reaches: i32 by ordinal, how far into the step after a frame, and back from the next one, the two show what is sharp,
 * 1/64 of that step; 0 where the step is not long, and `gaps` tells. hasLongStep: whether any is above 0. frames: as in
 * `planStrip`, of level 0. Where none of the frames that could be sharp reaches, nothing is known: no confidence.
 * scratch: 128 bytes and two i32 a frame.
 */
export function judgeStrip(
  depthIndices: usize, weights: usize, gaps: usize, certainties: usize, stride: i32, width: i32, height: i32, fullWeight: i32, count: i32, reaches: usize, hasLongStep: i32, fractionBits: i32,
  frames: usize, lastColumn: f64, lastRow: f64,
  confidence: usize, coverage: usize, stripRows: i32, strip: i32, scratch: usize,
): void {
  const offset = offsetCode(fractionBits);
  const first = 1 << fractionBits;
  const last = count << fractionBits;
  const beyond = unitsOf64ths(endReach64ths, fractionBits);
  const lowest = first - beyond + offset;
  const highest = last + beyond + offset;
  const spans = scratch + 128;
  const y1 = min(height, (strip + 1) * stripRows);
  for (let y = strip * stripRows; y < y1; y++) {
    const all = frameSpans(frames, count, lastColumn, lastRow, y, width, spans);
    const allFrom = i32(all & 0xffffffff);
    const allTo = i32(all >> 32);
    for (let x = 0; x < width; x++) {
      if (hasLongStep == 0) {
        // Most pixels are reached by all frames: eight at once.
        while (x >= max(allFrom, 8) && x + 16 <= min(width, allTo)) {
          const from = (usize(y) * usize(stride) + usize(x)) << 1;
          const kinds = kindsOfEight(
            depthIndices + from, weights + from, gaps + from, certainties + from, stride, height, y, lowest, highest, fullWeight, scratch,
          );
          const out = usize(y) * usize(width) + usize(x);
          v128.store64_lane(confidence + out, confidenceOfEight(weights + from, certainties + from, fullWeight), 0);
          v128.store64_lane(coverage + out, i8x16.narrow_i16x8_u(kinds, kinds), 0);
          x += 8;
        }
      }
      const at = (usize(y) * usize(stride) + usize(x)) << 1;
      let weight = min(fullWeight, i32(load<u16>(weights + at)));
      const depthIndex = i32(load<u16>(depthIndices + at)) - offset;
      let kind = 0;
      if (
        (x < allFrom || x >= allTo) &&
        (i32(load<u16>(gaps + at)) == truncatedCurve ||
          !isInReach(spans, count, reaches, depthIndex << (6 - fractionBits), x))
      ) {
        kind = 5;
        weight = 0;
      } else if (weight * 8 < fullWeight || isBesideDetail(gaps, certainties, stride, width, height, x, y)) kind = 4;
      else if (depthIndex < first - beyond) kind = 1;
      else if (depthIndex > last + beyond) kind = 2;
      else {
        const reach = depthIndex > first && depthIndex < last ? load<i32>(reaches + (usize(depthIndex >> fractionBits) << 2)) : 0;
        const into = (depthIndex & (first - 1)) << (6 - fractionBits);
        if (reach > 0 ? min(into, 64 - into) > reach : isGap(gaps, weights, stride, width, height, x, y)) kind = 3;
      }
      const o = usize(y) * usize(width) + usize(x);
      store<u8>(confidence + o, min((weight * 255 + (fullWeight >> 1)) / fullWeight, i32(load<u16>(certainties + at))));
      store<u8>(coverage + o, kind);
    }
  }
}

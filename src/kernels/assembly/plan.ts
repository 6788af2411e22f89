// Which frames each coefficient of each level comes from, decided from the surface: see curve-state.ts for the planes
// and blend.ts for what centre and reach mean.
import { indexOffset, gapBit, leakedPeak, truncatedCurve, tileColumns, windowRadius, endReach64ths, clearReach, faintReach, clearRise, singleReach, flatReach, finestLevels, halfStep } from './constants';
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
  const spans = scratch + 64;
  const offset = offsetCode(fractionBits);
  const lastCentre = count << fractionBits;
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
        if (front > 0) {
          const byte = tile + usize(front >> 3);
          store<u8>(byte, i32(load<u8>(byte)) | (1 << (front & 7)));
        }
        // Neighbours mostly ask for the same frames.
        if (tile == markedTile && first >= markedFirst && last <= markedLast) continue;
        markedTile = tile;
        markedFirst = first;
        markedLast = last;
        for (let k = first; k <= last; k++) {
          const byte = tile + usize(k >> 3);
          store<u8>(byte, i32(load<u8>(byte)) | (1 << (k & 7)));
        }
      }
    }
  }
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

/** Whether eight pixels have a weight, no mark, and depth indices from `lowest` to `highest`: addresses of theirs. */
// @ts-ignore: decorator
@inline
function areCovered(depthIndices: usize, weights: usize, gaps: usize, certainties: usize, lowest: i32, highest: i32, fullWeight: i32): bool {
  const zero = i16x8.splat(0);
  const index = v128.load(depthIndices);
  const isIn = v128.and(i16x8.ge_u(index, i16x8.splat(i16(lowest))), i16x8.le_u(index, i16x8.splat(i16(min(0xffff, highest)))));
  const isWeighty = i16x8.ge_u(v128.load(weights), i16x8.splat(i16((fullWeight + 7) >> 3)));
  const isPlain = v128.andnot(i16x8.eq(v128.load(gaps), zero), i16x8.eq(v128.load(certainties), zero));
  return i16x8.all_true(v128.and(v128.and(isIn, isWeighty), isPlain));
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
 * scratch: two i32 a frame.
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
  const spans = scratch + 64;
  const y1 = min(height, (strip + 1) * stripRows);
  for (let y = strip * stripRows; y < y1; y++) {
    const all = frameSpans(frames, count, lastColumn, lastRow, y, width, spans);
    const allFrom = i32(all & 0xffffffff);
    const allTo = i32(all >> 32);
    for (let x = 0; x < width; x++) {
      if (hasLongStep == 0) {
        // Most of a picture is plainly covered.
        while (x >= allFrom && x + 8 <= min(width, allTo)) {
          const from = (usize(y) * usize(stride) + usize(x)) << 1;
          if (!areCovered(depthIndices + from, weights + from, gaps + from, certainties + from, lowest, highest, fullWeight)) break;
          const out = usize(y) * usize(width) + usize(x);
          v128.store64_lane(confidence + out, confidenceOfEight(weights + from, certainties + from, fullWeight), 0);
          store<u64>(coverage + out, 0);
          x += 8;
        }
        if (x >= width) break;
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

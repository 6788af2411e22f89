// Window leaks: peaks of a coarse level that are the detail of something beside the pixel.
//
// The measure of a level answers to detail anywhere in its window, some pixels of the level to either side. So a hair before
// smooth ground seems to have a band of sharp ground about it, 20 px wide at level 3. What a coarse level shows is a pixel's
// own where the next finer level, whose window is half as wide, shows it there as well, or shows it nowhere around as strongly:
// then it is too coarse for that level. A pixel closely between others that the finer level shows is a faint one of their surface.
// Levels are judged from the finest on, so that a leak of one level explains none of the next.
import { clearOctaves, codesPerOctave, indexPlane, leakBit, leakRadius, minPeakOctaves, risePlane, sameUnits, secondIndexPlane, secondRisePlane, weightPlane } from './constants';
import { apartOf } from './common';
import { planeOf, strideOf, unitsPerFrame } from './curve-state';

/** Whether one of the two peaks of a pixel of a level, at `at` in its planes, is near `depthIndex` and no leak. */
// @ts-ignore: decorator
@inline
function shows(levels: usize, level: i32, at: usize, depthIndex: i32, same: i32): bool {
  const least = i32(clearOctaves * codesPerOctave);
  const first = i32(load<u16>(planeOf(levels, level, risePlane) + at));
  const isLeak = (i32(load<u16>(planeOf(levels, level, weightPlane) + at)) & leakBit) != 0;
  if (!isLeak && first >= least && abs(i32(load<u16>(planeOf(levels, level, indexPlane) + at)) - depthIndex) < same) return true;
  const second = i32(load<u16>(planeOf(levels, level, secondRisePlane) + at));
  return second >= least && abs(i32(load<u16>(planeOf(levels, level, secondIndexPlane) + at)) - depthIndex) < same;
}

/** Whether a best peak near `depthIndex`, at least `least` high and no leak, lies within columns and rows of a level. */
function isShown(
  levels: usize, level: i32, x0: i32, x1: i32, y0: i32, y1: i32, depthIndex: i32, same: i32, least: i32,
): bool {
  const wanted = i16x8.splat(i16(depthIndex));
  const closer = i16x8.splat(i16(same - 1));
  const high = i16x8.splat(i16(least - 1));
  const lanes = i16x8(0, 1, 2, 3, 4, 5, 6, 7);
  const end = i16x8.splat(i16(x1));
  const leak = i16x8.splat(i16(leakBit));
  const zero = i16x8.splat(0);
  for (let y = y0; y < y1; y++) {
    const row = (usize(y) * strideOf(levels, level)) << 1;
    const rises = planeOf(levels, level, risePlane) + row;
    const indices = planeOf(levels, level, indexPlane) + row;
    const weights = planeOf(levels, level, weightPlane) + row;
    for (let x = x0; x < x1; x += 8) {
      const at = usize(x) << 1;
      const inside = i16x8.lt_s(i16x8.add(i16x8.splat(i16(x)), lanes), end);
      const isHigh = i16x8.gt_s(v128.load(rises + at), high);
      const isSame = i16x8.le_u(apartOf(v128.load(indices + at), wanted), closer);
      const isOwn = i16x8.eq(v128.and(v128.load(weights + at), leak), zero);
      if (v128.any_true(v128.and(v128.and(inside, isOwn), v128.and(isHigh, isSame)))) return true;
    }
  }
  return false;
}

/** Whether the finer level shows a depth index closely on two opposite sides of pixel (x, y) of the coarse one. */
function isBetween(
  levels: usize, level: i32, x: i32, y: i32, width: i32, height: i32, depthIndex: i32, same: i32, least: i32,
): bool {
  const left = max(0, 2 * (x - leakRadius));
  const right = min(width, 2 * (x + leakRadius + 1));
  const top = max(0, 2 * (y - leakRadius));
  const bottom = min(height, 2 * (y + leakRadius + 1));
  const column = min(width, 2 * x + 1);
  const row = min(height, 2 * y + 1);
  return (
    (isShown(levels, level, left, column, top, row, depthIndex, same, least) &&
      isShown(levels, level, column, right, row, bottom, depthIndex, same, least)) ||
    (isShown(levels, level, column, right, top, row, depthIndex, same, least) &&
      isShown(levels, level, left, column, row, bottom, depthIndex, same, least))
  );
}

/**
 * Marks the best peaks of a level, 1 or coarser, that are leaks, by `leakBit` of their weights: rows of one strip. The finer
 * level has been judged before. width, height: of the level; fineWidth, fineHeight: of the finer one, both below 32768.
 */
export function markLeaksStrip(
  levels: usize, level: i32, width: i32, height: i32, fineWidth: i32, fineHeight: i32, unit: f32, fractionBits: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const same = i32(sameUnits * unit * unitsPerFrame(fractionBits));
  const fineStride = strideOf(levels, level - 1);
  const y1 = min(height, (strip + 1) * stripRows);
  for (let y = strip * stripRows; y < y1; y++) {
    const row = (usize(y) * strideOf(levels, level)) << 1;
    const rises = planeOf(levels, level, risePlane) + row;
    const indices = planeOf(levels, level, indexPlane) + row;
    const weights = planeOf(levels, level, weightPlane) + row;
    for (let x = 0; x < width; x++) {
      const at = usize(x) << 1;
      const rise = i32(load<u16>(rises + at));
      if (f32(rise) < minPeakOctaves * codesPerOctave) continue;
      const depthIndex = i32(load<u16>(indices + at));
      let isOwn = false;
      for (let i = 0; i < 4 && !isOwn; i++) {
        const row = usize(min(fineHeight - 1, 2 * y + (i >> 1)));
        const column = usize(min(fineWidth - 1, 2 * x + (i & 1)));
        isOwn = shows(levels, level - 1, (row * fineStride + column) << 1, depthIndex, same);
      }
      if (isOwn) continue;
      const least = i32(minPeakOctaves * codesPerOctave);
      if (isBetween(levels, level - 1, x, y, fineWidth, fineHeight, depthIndex, same, least)) continue;
      const isLeak = isShown(
        levels, level - 1, max(0, 2 * (x - leakRadius)), min(fineWidth, 2 * (x + leakRadius + 1)),
        max(0, 2 * (y - leakRadius)), min(fineHeight, 2 * (y + leakRadius + 1)), depthIndex, same, rise,
      );
      if (isLeak) store<u16>(weights + at, load<u16>(weights + at) | leakBit);
    }
  }
}

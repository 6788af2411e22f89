// Which frames reach which pixels, and the focus curves that end there.
//
// Frames differ in scale and shift, so the outer pixels of the anchor's framing are reached by a part of them only. A
// focus curve is observed over that part alone: where its best frame is the last that was measured and further frames
// exist, the curve may go on rising in those, and its peak is not known.
import { bestTruncated, secondTruncated, afterPlane, beforePlane, bestOrdinalPlane, secondOrdinalPlane, truncationPlane } from './constants';
import { reach } from './common';
import { planeOf, strideOf } from './curve-state';

/** Bytes of a frame in a table of frames: composite pixel to frame pixel (a b c d e f) and its margin, seven f64. */
const frameBytes: usize = 56;

/** Columns of row y that each frame reaches, [from, to), two i32 a frame, and returns those that all reach; see `reach`. */
// @ts-ignore: decorator
@inline
export function frameSpans(
  frames: usize, count: i32, lastColumn: f64, lastRow: f64, y: i32, width: i32, spans: usize,
): u64 {
  let allFrom = 0;
  let allTo = width;
  for (let k = 0; k < count; k++) {
    const m = frames + usize(k) * frameBytes;
    const columns = reach(
      load<f64>(m), load<f64>(m, 8), load<f64>(m, 16), load<f64>(m, 24), load<f64>(m, 32), load<f64>(m, 40),
      lastColumn, lastRow, load<f64>(m, 48), y, width,
    );
    const from = i32(columns & 0xffffffff);
    const to = i32(columns >> 32);
    store<i32>(spans + (usize(k) << 3), from);
    store<i32>(spans + (usize(k) << 3), to, 4);
    allFrom = max(allFrom, from);
    allTo = min(allTo, to);
  }
  return u64(u32(allFrom)) | (u64(u32(max(allFrom, allTo))) << 32);
}

/** Whether the frame of an ordinal reaches column x of the row whose spans these are. */
// @ts-ignore: decorator
@inline
export function isReached(spans: usize, ordinal: i32, x: i32): bool {
  const span = spans + (usize(ordinal - 1) << 3);
  return x >= load<i32>(span) && x < load<i32>(span, 4);
}

/** Whether no frame before (`side` -1) or after (1) the ordinal reaches column x, though there are such frames. */
function endsAt(spans: usize, count: i32, ordinal: i32, side: i32, x: i32): bool {
  let isAny = false;
  for (let k = ordinal + side; k >= 1 && k <= count; k += side) {
    if (isReached(spans, k, x)) return false;
    isAny = true;
  }
  return isAny;
}

/**
 * Plane 3 of a level, rows of one strip: 0, or `bestTruncated` and `secondTruncated` where the frames that were measured
 * end at the best frame, or at that of the second peak. Before `peakStrip`, once the curves have been followed.
 *
 * frames: seven f64 a frame, at this level, the margin wider than that of `trackStrip`: where all frames reach by it, no
 * curve is truncated, and a frame that was not measured next to the best is one that does not reach or is hidden by dust.
 * scratch: two i32 a frame.
 */
export function markTruncatedStrip(
  levels: usize, level: i32, width: i32, height: i32, frames: usize, count: i32, lastColumn: f64, lastRow: f64,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const spans = scratch + 64;
  const stride = strideOf(levels, level);
  const y1 = min(height, (strip + 1) * stripRows);
  for (let y = strip * stripRows; y < y1; y++) {
    const row = (usize(y) * stride) << 1;
    const marks = planeOf(levels, level, truncationPlane) + row;
    memory.fill(marks, 0, usize(width) << 1);
    const all = frameSpans(frames, count, lastColumn, lastRow, y, width, spans);
    const allFrom = i32(all & 0xffffffff);
    const allTo = i32(all >> 32);
    for (let x = 0; x < width; x++) {
      if (x == allFrom) x = allTo;
      if (x >= width) break;
      const at = row + (usize(x) << 1);
      const best = i32(load<u16>(planeOf(levels, level, bestOrdinalPlane) + at));
      if (best == 0) continue;
      const isLow = load<u16>(planeOf(levels, level, beforePlane) + at) == 0 && endsAt(spans, count, best, -1, x);
      const isHigh = load<u16>(planeOf(levels, level, afterPlane) + at) == 0 && endsAt(spans, count, best, 1, x);
      const second = i32(load<u16>(planeOf(levels, level, secondOrdinalPlane) + at));
      const isSecond = second > 0 && (endsAt(spans, count, second, -1, x) || endsAt(spans, count, second, 1, x));
      store<u16>(marks + (usize(x) << 1), (isLow || isHigh ? bestTruncated : 0) | (isSecond ? secondTruncated : 0));
    }
  }
}

// Plane 3 of a level: 0, or `bestTruncated` and `secondTruncated` where the frames that were measured end at the best frame,
// or at that of the second peak. Before `peak`. One thread a pair of pixels. Beside it: markTruncatedStrip of
// kernels/assembly/frame-bounds.ts, where the formula is.
struct Call {
  band: Band,
  state: Set,
  spans: Set,
  frames: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read_write> state: array<u32>;
// See frame-spans.ts.
@group(0) @binding(2) var<storage, read> spans: array<u32>;

/** Whether the frame of an ordinal, or 0 = whether all frames reach column x. row: of the spans. */
fn isReached(row: i32, ordinal: i32, x: i32) -> bool {
  return x >= i32(spans[row + 2 * ordinal]) && x < i32(spans[row + 2 * ordinal + 1]);
}

/** Whether no frame before (`side` -1) or after (1) the ordinal reaches column x, though there are such frames. */
fn endsAt(row: i32, ordinal: i32, side: i32, x: i32) -> bool {
  var isAny = false;
  for (var k = ordinal + side; k >= 1 && k <= call.frames; k += side) {
    if (isReached(row, k, x)) {
      return false;
    }
    isAny = true;
  }
  return isAny;
}

fn stateAt(plane: i32, x: i32, y: i32) -> i32 {
  return i32(u16Of(state[rowAt(call.state, plane, y) + (x >> 1u)], x));
}

fn markOf(x: i32, y: i32) -> u32 {
  let row = rowAt(call.spans, 0, y);
  if (x >= call.state.width || isReached(row, 0, x)) {
    return 0u;
  }
  let best = stateAt(bestOrdinalPlane, x, y);
  if (best == 0) {
    return 0u;
  }
  let isLow = stateAt(beforePlane, x, y) == 0 && endsAt(row, best, -1, x);
  let isHigh = stateAt(afterPlane, x, y) == 0 && endsAt(row, best, 1, x);
  let second = stateAt(secondOrdinalPlane, x, y);
  let isSecond = second > 0 && (endsAt(row, second, -1, x) || endsAt(row, second, 1, x));
  return select(0u, u32(bestTruncated), isLow || isHigh) | select(0u, u32(secondTruncated), isSecond);
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = 2 * i32(id.x);
  let y = rowOf(call.band, id);
  state[rowAt(call.state, truncationPlane, y) + i32(id.x)] = pairOf(markOf(x, y), markOf(x + 1, y));
}

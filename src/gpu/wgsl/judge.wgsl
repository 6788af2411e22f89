// Confidence, 0 to 255, and coverage class of each pixel, bytes. One thread four pixels. Beside it:
// judgeStrip of kernels/assembly/plan.ts, where the rule is.
struct Call {
  band: Band,
  state: Set,
  surface: Set,
  spans: Set,
  confidence: Set,
  coverage: Set,
  frames: i32,
  fullWeight: i32,
  fractionBits: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> state: array<u32>;
// Depth index in the low half of a word, weight in the high half.
@group(0) @binding(2) var<storage, read> surface: array<u32>;
// See frame-spans.ts.
@group(0) @binding(3) var<storage, read> spans: array<u32>;
@group(0) @binding(4) var<storage, read_write> confidence: array<u32>;
@group(0) @binding(5) var<storage, read_write> coverage: array<u32>;
// By ordinal, how far into the step after a frame, and back from the next one, the two show what is sharp, 1/64 of that step; 0
// where the step is not long.
@group(0) @binding(6) var<storage, read> reaches: array<i32>;

fn stateAt(plane: i32, x: i32, y: i32) -> i32 {
  return i32(u16Of(state[rowAt(call.state, plane, y) + (x >> 1u)], x));
}

fn gapAt(x: i32, y: i32) -> i32 {
  return stateAt(tonesPlane, x, y);
}

/** Whether most curves about a pixel fall too far between two frames: of a single one noise may bend the peak. */
fn isGap(x: i32, y: i32) -> bool {
  if ((gapAt(x, y) & gapBit) == 0) {
    return false;
  }
  var missed = 0;
  var known = 0;
  for (var v = max(0, y - windowRadius); v <= min(call.state.height - 1, y + windowRadius); v++) {
    for (var u = max(0, x - windowRadius); u <= min(call.state.width - 1, x + windowRadius); u++) {
      if ((surface[rowAt(call.surface, 0, v) + u] >> 16u) == 0u) {
        continue;
      }
      known++;
      missed += i32((gapAt(u, v) & gapBit) != 0);
    }
  }
  return 2 * missed > known;
}

/** Whether the frame of an ordinal, or 0 = whether all frames reach column x. row: of the spans. */
fn isReached(row: i32, ordinal: i32, x: i32) -> bool {
  return x >= i32(spans[row + 2 * ordinal]) && x < i32(spans[row + 2 * ordinal + 1]);
}

/** Whether a frame that may be sharp at a depth index, 1/64 frame, reaches column x. */
fn isInReach(row: i32, depthIndex: i32, x: i32) -> bool {
  let inside = clamp(depthIndex, 64, call.frames << 6u);
  let before = inside >> 6u;
  let into = inside & 63;
  if (into == 0) {
    return isReached(row, before, x);
  }
  let farthest = select(endReach64ths, halfStep, reaches[before] > 0);
  return (into <= farthest && isReached(row, before, x)) ||
    (64 - into <= farthest && isReached(row, before + 1, x));
}

/** Whether a pixel that shows nothing itself is known by the detail of something beside it. */
fn isBesideDetail(x: i32, y: i32) -> bool {
  if (stateAt(coarseTonesPlane, x, y) != 0 && gapAt(x, y) != leakedPeak) {
    return false;
  }
  var leaks = 0;
  var own = 0;
  for (var v = max(0, y - windowRadius); v <= min(call.state.height - 1, y + windowRadius); v++) {
    for (var u = max(0, x - windowRadius); u <= min(call.state.width - 1, x + windowRadius); u++) {
      if (gapAt(u, v) == leakedPeak) {
        leaks++;
      } else if (stateAt(coarseTonesPlane, u, v) != 0) {
        own++;
      }
    }
  }
  return leaks > own;
}

/** Confidence in the low byte, class in the next; see result/coverage.ts. */
fn judged(x: i32, y: i32) -> vec2u {
  let bits = u32(call.fractionBits);
  let first = 1 << bits;
  let last = call.frames << bits;
  let beyond = endReach64ths >> (6u - bits);
  let row = rowAt(call.spans, 0, y);
  let word = surface[rowAt(call.surface, 0, y) + x];
  var weight = min(call.fullWeight, i32(word >> 16u));
  let depthIndex = i32(word & 0xffffu) - (i32(indexOffset) << bits);
  var kind = 0u;
  if (
    !isReached(row, 0, x) &&
    (gapAt(x, y) == truncatedCurve || !isInReach(row, depthIndex << (6u - bits), x))
  ) {
    kind = 5u;
    weight = 0;
  } else if (weight * 8 < call.fullWeight || isBesideDetail(x, y)) {
    kind = 4u;
  } else if (depthIndex < first - beyond) {
    kind = 1u;
  } else if (depthIndex > last + beyond) {
    kind = 2u;
  } else {
    var reach = 0;
    if (depthIndex > first && depthIndex < last) {
      reach = reaches[depthIndex >> bits];
    }
    let into = (depthIndex & (first - 1)) << (6u - bits);
    var isMissed: bool;
    if (reach > 0) {
      isMissed = min(into, 64 - into) > reach;
    } else {
      isMissed = isGap(x, y);
    }
    kind = select(0u, 3u, isMissed);
  }
  let sure = (weight * 255 + (call.fullWeight >> 1u)) / call.fullWeight;
  return vec2u(u32(min(sure, stateAt(coarseTonesPlane, x, y))), kind);
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = 4 * i32(id.x);
  let y = rowOf(call.band, id);
  var words = vec2u(0u);
  for (var i = 0; i < 4; i++) {
    if (x + i < call.state.width) {
      words |= judged(x + i, y) << vec2u(8u * u32(i));
    }
  }
  confidence[rowAt(call.confidence, 0, y) + i32(id.x)] = words.x;
  coverage[rowAt(call.coverage, 0, y) + i32(id.x)] = words.y;
}

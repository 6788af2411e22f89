// Supports of the candidates of each pixel of level 0: seven bits in each of the low three bytes, bit 31 = contested. Beside
// it: gatherStrip of kernels/assembly/candidates.ts, where the rule is.
struct Call {
  band: Band,
  state: Set,
  coarse: Set,
  supports: Set,
  count: i32,
  same: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> state: array<u32>;
// Level 1; any set where `count`, of levels, is 1.
@group(0) @binding(2) var<storage, read> coarse: array<u32>;
@group(0) @binding(3) var<storage, read_write> supports: array<u32>;

fn stateAt(plane: i32, x: i32, y: i32) -> i32 {
  return i32(u16Of(state[rowAt(call.state, plane, y) + (x >> 1u)], x));
}

/** Of level 1, at a pixel of level 0. */
fn coarseAt(plane: i32, x: i32, y: i32) -> i32 {
  return i32(u16Of(coarse[rowAt(call.coarse, plane, y >> 1u) + (x >> 2u)], x >> 1u));
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = i32(id.x);
  let y = rowOf(call.band, id);
  var s0 = supportOf(stateAt(risePlane, x, y));
  var s1 = supportOf(stateAt(secondRisePlane, x, y));
  var s2 = 0;
  if (call.count > 1) {
    let z0 = stateAt(indexPlane, x, y);
    let z1 = stateAt(secondIndexPlane, x, y);
    // What both levels show is one candidate; what level 1 shows as a second peak alone is none.
    s2 = supportOf(coarseAt(risePlane, x, y));
    if (s2 > 0) {
      let z2 = coarseAt(indexPlane, x, y);
      if (s0 > 0 && abs(z2 - z0) < call.same) {
        s0 = min(maxKeptSupport, s0 + s2);
        s2 = 0;
      } else if (s1 > 0 && abs(z2 - z1) < call.same) {
        s1 = min(maxKeptSupport, s1 + s2);
        s2 = 0;
      }
    }
    let s3 = supportOf(coarseAt(secondRisePlane, x, y));
    if (s3 > 0) {
      let z3 = coarseAt(secondIndexPlane, x, y);
      if (s0 > 0 && abs(z3 - z0) < call.same) {
        s0 = min(maxKeptSupport, s0 + s3);
      } else if (s1 > 0 && abs(z3 - z1) < call.same) {
        s1 = min(maxKeptSupport, s1 + s3);
      }
    }
  }
  let top = max(max(s0, s1), s2);
  let least = (top * droppedPercent) / 100;
  s0 = select(0, s0, s0 >= least);
  s1 = select(0, s1, s1 >= least);
  s2 = select(0, s2, s2 >= least);
  let next = max(min(s0, s1), min(max(s0, s1), s2));
  let isContested = f32(next) > contestedShare * f32(top) || (top > 0 && top < sureSupport);
  supports[rowAt(call.supports, 0, y) + x] =
    u32(s0 | (s1 << 8u) | (s2 << 16u)) | select(0u, contestedBit, isContested);
}

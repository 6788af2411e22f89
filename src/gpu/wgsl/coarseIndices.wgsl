// What the levels from 2 on show where the finer ones show nothing: the depth index, at the size of level 2, of the first
// level whose peak is there and shared by the pixels around; 0 = none. One thread a pair of pixels. Beside it: coarseLevel of
// kernels/assembly/labels.ts, which asks the same for pixels of level 0.
struct Call {
  band: Band,
  state: Set,
  coarse: Set,
  indices: Set,
  levels: i32,
  apart: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
// Level 2.
@group(0) @binding(1) var<storage, read> state: array<u32>;
// Level 3; any set where there are three `levels`.
@group(0) @binding(2) var<storage, read> coarse: array<u32>;
@group(0) @binding(3) var<storage, read_write> indices: array<u32>;

fn stateAt(plane: i32, x: i32, y: i32) -> i32 {
  return i32(u16Of(state[rowAt(call.state, plane, y) + (x >> 1u)], x));
}

fn coarseAt(plane: i32, x: i32, y: i32) -> i32 {
  return i32(u16Of(coarse[rowAt(call.coarse, plane, y) + (x >> 1u)], x));
}

const leastRise = minPeakOctaves * codesPerOctave;

fn stateIndexOf(x: i32, y: i32) -> i32 {
  if (stateAt(weightPlane, x, y) == 0 || f32(stateAt(risePlane, x, y)) < leastRise) {
    return 0;
  }
  let depthIndex = stateAt(indexPlane, x, y);
  var found = 0;
  for (var v = max(0, y - aroundRadius); v <= min(call.state.height - 1, y + aroundRadius); v++) {
    for (var u = max(0, x - aroundRadius); u <= min(call.state.width - 1, x + aroundRadius); u++) {
      let isThere = f32(stateAt(risePlane, u, v)) >= leastRise;
      found += i32(isThere && abs(stateAt(indexPlane, u, v) - depthIndex) <= call.apart);
    }
  }
  return select(0, depthIndex, found >= minAround);
}

fn coarseIndexOf(x: i32, y: i32) -> i32 {
  if (coarseAt(weightPlane, x, y) == 0 || f32(coarseAt(risePlane, x, y)) < leastRise) {
    return 0;
  }
  let depthIndex = coarseAt(indexPlane, x, y);
  var found = 0;
  for (var v = max(0, y - aroundRadius); v <= min(call.coarse.height - 1, y + aroundRadius); v++) {
    for (var u = max(0, x - aroundRadius); u <= min(call.coarse.width - 1, x + aroundRadius); u++) {
      let isThere = f32(coarseAt(risePlane, u, v)) >= leastRise;
      found += i32(isThere && abs(coarseAt(indexPlane, u, v) - depthIndex) <= call.apart);
    }
  }
  return select(0, depthIndex, found >= minAround);
}

fn indexOf(x: i32, y: i32) -> u32 {
  if (x >= call.state.width) {
    return 0u;
  }
  var depthIndex = stateIndexOf(x, y);
  if (depthIndex == 0 && call.levels > 3) {
    depthIndex = coarseIndexOf(x >> 1u, y >> 1u);
  }
  return u32(depthIndex);
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = 2 * i32(id.x);
  let y = rowOf(call.band, id);
  indices[rowAt(call.indices, 0, y) + i32(id.x)] = pairOf(indexOf(x, y), indexOf(x + 1, y));
}

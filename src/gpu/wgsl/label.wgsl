// Label of each pixel, the depth index of its candidate of the most support, 0 = it shows nothing, a word each. Beside it: labelStrip
// of kernels/assembly/labels.ts.
struct Call {
  band: Band,
  state: Set,
  coarse: Set,
  coarseIndices: Set,
  supports: Set,
  labels: Set,
  count: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> state: array<u32>;
// Level 1, and what the levels from 2 on show: see coarseIndices.wgsl. Any set where `count`, of levels, is smaller.
@group(0) @binding(2) var<storage, read> coarse: array<u32>;
@group(0) @binding(3) var<storage, read> coarseIndices: array<u32>;
@group(0) @binding(4) var<storage, read> supports: array<u32>;
@group(0) @binding(5) var<storage, read_write> labels: array<u32>;

fn stateAt(plane: i32, x: i32, y: i32) -> u32 {
  return u16Of(state[rowAt(call.state, plane, y) + (x >> 1u)], x);
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = i32(id.x);
  let y = rowOf(call.band, id);
  let own = supports[rowAt(call.supports, 0, y) + x];
  var best = -1;
  var highest = sureSupport - 1;
  for (var n = 0; n < 3; n++) {
    let support = supportAt(own, n);
    if (support > highest) {
      highest = support;
      best = n;
    }
  }
  var label = 0u;
  if (best == 0) {
    label = stateAt(indexPlane, x, y);
  } else if (best == 1) {
    label = stateAt(secondIndexPlane, x, y);
  } else if (best == 2) {
    label = u16Of(coarse[rowAt(call.coarse, indexPlane, y >> 1u) + (x >> 2u)], x >> 1u);
  } else if (call.count > 2) {
    label = u16Of(coarseIndices[rowAt(call.coarseIndices, 0, y >> 2u) + (x >> 3u)], x >> 2u);
  }
  labels[rowAt(call.labels, 0, y) + x] = label;
}

// Focus curves of every `every`-th pixel, in both directions, as a grid: best and the measure before it in a word of plane 0,
// the measure after it and the best frame in one of plane 1. A thread reads one.
struct Call {
  band: Band,
  state: Set,
  grid: Set,
  every: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> state: array<u32>;
@group(0) @binding(2) var<storage, read_write> grid: array<u32>;

fn stateAt(plane: i32, x: i32, y: i32) -> u32 {
  return u16Of(state[rowAt(call.state, plane, y) + (x >> 1u)], x);
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let i = i32(id.x);
  let j = rowOf(call.band, id);
  let x = i * call.every;
  let y = j * call.every;
  grid[rowAt(call.grid, 0, j) + i] = pairOf(stateAt(bestPlane, x, y), stateAt(beforePlane, x, y));
  grid[rowAt(call.grid, 1, j) + i] = pairOf(stateAt(afterPlane, x, y), stateAt(bestOrdinalPlane, x, y));
}

// Depth indices of the surface, the low halves of its words, in 16 bits. One thread a pair of pixels.
struct Call {
  band: Band,
  surface: Set,
  indices: Set,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> surface: array<u32>;
@group(0) @binding(2) var<storage, read_write> indices: array<u32>;

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let y = rowOf(call.band, id);
  let at = rowAt(call.surface, 0, y) + 2 * i32(id.x);
  indices[rowAt(call.indices, 0, y) + i32(id.x)] = pairOf(surface[at], surface[at + 1]);
}

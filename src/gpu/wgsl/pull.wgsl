// Depth indices everywhere: where the confidence falls below 1 the coarser map, itself filled, stands in; in place. Words as
// in push.wgsl; one thread a pixel of the finer map. Beside it: pullStrip of kernels/assembly/surface.ts, where the formula is.
struct Call {
  band: Band,
  fine: Set,
  coarse: Set,
  fullWeight: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read_write> fine: array<u32>;
@group(0) @binding(2) var<storage, read> coarse: array<u32>;

fn coarseAt(x: i32, y: i32) -> u32 {
  let column = clamp(x, 0, call.coarse.width - 1);
  let row = clamp(y, 0, call.coarse.height - 1);
  return coarse[rowAt(call.coarse, 0, row) + column] & 0xffffu;
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = i32(id.x);
  let y = rowOf(call.band, id);
  let at = rowAt(call.fine, 0, y) + x;
  let word = fine[at];
  let confidence = confidenceOf(word >> 16u, call.fullWeight);
  if (confidence >= fullConfidence) {
    return;
  }
  // Fine pixel y lies between coarse ones at y / 2 - 1/4: quarters of the nearer and the farther one.
  let u = x >> 1u;
  let v = y >> 1u;
  let across = u + select(-1, 1, (x & 1) == 1);
  let beyond = v + select(-1, 1, (y & 1) == 1);
  let filled = 9u * coarseAt(u, v) + 3u * coarseAt(across, v) + 3u * coarseAt(u, beyond) + coarseAt(across, beyond);
  // The mixture, in 1/16 of a stored unit times 1/32768, takes 35 bits: by the high and the low ten bits of both.
  let own = (word & 0xffffu) * 16u;
  let rest = fullConfidence - confidence;
  let high = confidence * (own >> 10u) + rest * (filled >> 10u);
  let low = confidence * (own & 1023u) + rest * (filled & 1023u);
  let mixed = (high + ((low + (fullConfidence << 3u)) >> 10u)) >> 9u;
  fine[at] = pairOf(mixed, word >> 16u);
}

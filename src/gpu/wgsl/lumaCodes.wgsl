// Luma x 64 of a level whose luma lies in memory, as whole numbers in plane 1 of `measures`. A thread writes two pixels.
// Beside it: lumaCodesStrip of kernels/assembly/focus.ts.
struct Call {
  band: Band,
  luma: Set,
  measures: Set,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> luma: array<f32>;
@group(0) @binding(2) var<storage, read_write> measures: array<u32>;

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = 2 * i32(id.x);
  let y = rowOf(call.band, id);
  let row = rowAt(call.luma, 0, y);
  let even = luma[row + x];
  let odd = luma[row + min(x + 1, call.luma.width - 1)];
  measures[rowAt(call.measures, 1, y) + i32(id.x)] = pairOf(u32(even * 64.0 + 0.5), u32(odd * 64.0 + 0.5));
}

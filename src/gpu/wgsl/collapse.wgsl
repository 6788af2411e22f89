// From accumulated pyramid to picture, over the first three planes of the sums: detail over weight, and the expansion of the
// coarser level, which is collapsed already. See kernels/assembly/collapse.ts.
struct Call {
  band: Band,
  coarse: Set,
  sums: Set,
  hasCoarse: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> coarse: array<f32>;
@group(0) @binding(2) var<storage, read_write> sums: array<f32>;

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = i32(id.x);
  let y = rowOf(call.band, id);
  // A pixel that no frame reached gets coefficient 0.
  let weight = max(1e-12, sums[rowAt(call.sums, 3, y) + x]);
  for (var plane = 0; plane < 3; plane++) {
    let at = rowAt(call.sums, plane, y) + x;
    var value = sums[at] / weight;
    if (call.hasCoarse != 0) {
      value += expandedAt(&coarse, call.coarse, plane, x, y);
    }
    sums[at] = value;
  }
}

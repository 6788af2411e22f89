// A coarser level of a frame: its picture less the expansion of the next one, of the coarsest level the picture itself, is
// added to the sums. See accumulateStrip of kernels/assembly/blend.ts, and blendFinest.wgsl for the sets.
struct Call {
  band: Band,
  picture: Set,
  coarse: Set,
  plan: Set,
  spans: Set,
  sums: Set,
  ordinal: i32,
  fractionBits: i32,
  hasCoarse: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> picture: array<f32>;
@group(0) @binding(2) var<storage, read> coarse: array<f32>;
@group(0) @binding(3) var<storage, read> plan: array<u32>;
@group(0) @binding(4) var<storage, read> spans: array<u32>;
@group(0) @binding(5) var<storage, read_write> sums: array<f32>;

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = i32(id.x);
  let y = rowOf(call.band, id);
  let weights = plannedWeights(&plan, call.plan, &spans, call.spans, x, y, call.ordinal, 0.0, call.fractionBits);
  if (weights.y == 0.0) {
    return;
  }
  let at = rowAt(call.sums, 0, y) + x;
  for (var plane = 0; plane < 3; plane++) {
    var detail = picture[rowAt(call.picture, plane, y) + x];
    if (call.hasCoarse != 0) {
      detail -= expandedAt(&coarse, call.coarse, plane, x, y);
    }
    sums[at + plane * call.sums.planeWords] += weights.y * detail;
  }
  sums[at + 3 * call.sums.planeWords] += weights.x;
}

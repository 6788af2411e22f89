// The finest level of a frame: it is warped only where it has a weight, and its detail, the warped picture less the
// expansion of `coarse`, is added to the sums. See blendFinestStrip of kernels/assembly/blend.ts.
//
// plan: centre, reach and perhaps front layers. spans: columns that each frame reaches, see plan.wgsl. sums: three
// planes of accumulated detail, one of weights. uses: one bit a tile and frame, useWords a tile.
struct Call {
  band: Band,
  frame: Set,
  coarse: Set,
  plan: Set,
  spans: Set,
  sums: Set,
  toSource: Affine,
  gain: vec4f,
  bits: i32,
  ordinal: i32,
  fractionBits: i32,
  lost: f32,
  useWords: i32,
  tileRows: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> frame: array<u32>;
@group(0) @binding(2) var<storage, read> coarse: array<f32>;
@group(0) @binding(3) var<storage, read> plan: array<u32>;
@group(0) @binding(4) var<storage, read> spans: array<u32>;
@group(0) @binding(5) var<storage, read> uses: array<u32>;
@group(0) @binding(6) var<storage, read> taps: array<f32>;
@group(0) @binding(7) var<storage, read_write> sums: array<f32>;

fn sourcePixel(x: i32, y: i32) -> vec3f {
  return framePixel(&frame, call.frame, clamp(x, 0, call.frame.width - 1), clamp(y, 0, call.frame.height - 1), call.bits);
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = i32(id.x);
  let y = rowOf(call.band, id);
  let tiles = (call.sums.width + tileColumns - 1) / tileColumns;
  let tile = (y / call.tileRows) * tiles + x / tileColumns;
  let isUsed = (uses[tile * call.useWords + (call.ordinal >> 5u)] >> u32(call.ordinal & 31)) & 1u;
  if (isUsed == 0u) {
    return;
  }
  let weights = plannedWeights(&plan, call.plan, &spans, call.spans, x, y, call.ordinal, call.lost, call.fractionBits);
  if (weights.y == 0.0) {
    return;
  }
  let expansion = vec3f(
    expandedAt(&coarse, call.coarse, 0, x, y),
    expandedAt(&coarse, call.coarse, 1, x, y),
    expandedAt(&coarse, call.coarse, 2, x, y),
  );
  let detail = weights.y * (resampledAt(x, y) * call.gain.xyz - expansion);
  let at = rowAt(call.sums, 0, y) + x;
  let plane = call.sums.planeWords;
  sums[at] += detail.x;
  sums[at + plane] += detail.y;
  sums[at + 2 * plane] += detail.z;
  sums[at + 3 * plane] += weights.x;
}

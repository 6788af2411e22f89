// Resampling of three planes into the anchor's framing: see warpStrip of kernels/assembly/warp.ts.
struct Call {
  band: Band,
  source: Set,
  out: Set,
  toSource: Affine,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> source: array<f32>;
@group(0) @binding(2) var<storage, read> taps: array<f32>;
@group(0) @binding(3) var<storage, read_write> out: array<f32>;

fn sourcePixel(x: i32, y: i32) -> vec3f {
  let row = rowAt(call.source, 0, clamp(y, 0, call.source.height - 1));
  let at = row + clamp(x, 0, call.source.width - 1);
  return vec3f(source[at], source[at + call.source.planeWords], source[at + 2 * call.source.planeWords]);
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = i32(id.x);
  let y = rowOf(call.band, id);
  let pixel = resampledAt(x, y);
  let at = rowAt(call.out, 0, y) + x;
  out[at] = pixel.x;
  out[at + call.out.planeWords] = pixel.y;
  out[at + 2 * call.out.planeWords] = pixel.z;
}

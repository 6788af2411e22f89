// Three planes of light to samples, in place: see encodeStrip of kernels/assembly/light.ts.
struct Call {
  band: Band,
  picture: Set,
  curve: vec4f,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read_write> picture: array<f32>;

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let at = rowAt(call.picture, 0, rowOf(call.band, id)) + i32(id.x);
  let plane = call.picture.planeWords;
  let samples = encodedOf(vec3f(picture[at], picture[at + plane], picture[at + 2 * plane]), call.curve);
  picture[at] = samples.x;
  picture[at + plane] = samples.y;
  picture[at + 2 * plane] = samples.z;
}

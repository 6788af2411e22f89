// A frame reduced to half size in its own grid: interleaved RGB samples in, times the gains and decoded by the curve, three
// planes of light out, 0..255. See reduceFrameStrip of kernels/assembly/pyramid.ts.
struct Call {
  band: Band,
  frame: Set,
  out: Set,
  gain: vec4f,
  curve: vec4f,
  bits: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> frame: array<u32>;
@group(0) @binding(2) var<storage, read_write> out: array<f32>;

const binomial = array<f32, 5>(1.0, 4.0, 6.0, 4.0, 1.0);

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let i = i32(id.x);
  let j = rowOf(call.band, id);
  var light = vec3f();
  for (var dy = -2; dy <= 2; dy++) {
    let row = mirror(2 * j + dy, call.frame.height);
    var sum = vec3f();
    for (var dx = -2; dx <= 2; dx++) {
      let sample = framePixel(&frame, call.frame, mirror(2 * i + dx, call.frame.width), row, call.bits);
      sum += binomial[dx + 2] * lightOf(sample * call.gain.xyz, call.curve);
    }
    light += binomial[dy + 2] / 256.0 * sum;
  }
  let at = rowAt(call.out, 0, j) + i;
  out[at] = light.x;
  out[at + call.out.planeWords] = light.y;
  out[at + 2 * call.out.planeWords] = light.z;
}

// The picture of a frame at level 1 from samples to light, in place, and where the frame's depth is the pixel's own,
// without the spill: see subtractSpillStrip of kernels/assembly/spill.ts. spills: see spill.wgsl.
struct Call {
  band: Band,
  spills: Set,
  picture: Set,
  curve: vec4f,
  ordinal: i32,
  fractionBits: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> spills: array<u32>;
@group(0) @binding(2) var<storage, read_write> picture: array<f32>;

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = i32(id.x);
  let y = rowOf(call.band, id);
  let at = rowAt(call.picture, 0, y) + x;
  let plane = call.picture.planeWords;
  var light = lightOf(vec3f(picture[at], picture[at + plane], picture[at + 2 * plane]), call.curve);
  let spill = lightOfWords(spills[rowAt(call.spills, 0, y) + x], spills[rowAt(call.spills, 1, y) + x]);
  let depthIndex = i32(spills[rowAt(call.spills, 2, y) + x]);
  let bits = u32(call.fractionBits);
  let isOwn = abs(depthIndex - ((call.ordinal + i32(indexOffset)) << bits)) < clearReach >> (6u - bits);
  if (isOwn && any(spill > vec4f(0.0))) {
    let grown = 65535.0 / (65535.0 - spill.w);
    light = max(vec3f(0.0), grown * (light - spill.xyz / 257.0));
  }
  picture[at] = light.x;
  picture[at + plane] = light.y;
  picture[at + 2 * plane] = light.z;
}

// The light of the pixels of level 1 that are sharpest in this frame, as the square root of the mean of four of its pixels,
// a byte a channel. Beside it: noteLightStrip of kernels/assembly/spill.ts.
struct Call {
  band: Band,
  frame: Set,
  state: Set,
  lights: Set,
  toFrame: Affine,
  gain: vec4f,
  curve: vec4f,
  bits: i32,
  ordinal: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> frame: array<u32>;
// Of level 1.
@group(0) @binding(2) var<storage, read> state: array<u32>;
@group(0) @binding(3) var<storage, read_write> lights: array<u32>;

fn lightAt(x: i32, y: i32) -> vec3f {
  let column = clamp(x, 0, call.frame.width - 1);
  let row = clamp(y, 0, call.frame.height - 1);
  let byte = frameByte(call.frame, column, row, call.bits);
  let at = byte >> 2u;
  let unit = select(1.0 / 65535.0, 1.0 / 255.0, call.bits == 8);
  let v = samplesOf(frame[at], frame[at + 1u], byte, call.bits) * unit * call.gain.xyz;
  return v * (call.curve.x + v * (call.curve.y + v * call.curve.z));
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = i32(id.x);
  let y = rowOf(call.band, id);
  if (i32(u16Of(state[rowAt(call.state, bestOrdinalPlane, y) + (x >> 1u)], x)) != call.ordinal) {
    return;
  }
  let cell = placeOf(call.toFrame, 2 * x, 2 * y, 2.0 * f32(x)).cell;
  let sum = lightAt(cell.x, cell.y) + lightAt(cell.x + 1, cell.y) + lightAt(cell.x, cell.y + 1) + lightAt(cell.x + 1, cell.y + 1);
  let root = vec3u(clamp(sqrt(sum * (255.0 * 255.0 / 4.0)) + 0.5, vec3f(0.0), vec3f(255.0)));
  lights[rowAt(call.lights, 0, y) + x] = root.x | (root.y << 8u) | (root.z << 16u);
}

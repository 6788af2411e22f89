// Luma of a frame (Rec. 601 weights on the encoded values): as floats of 0 to 255, and times 64 as whole numbers. A thread
// writes two pixels. Beside it: the first part of focusFinestStrip of kernels/assembly/focus.ts.
struct Call {
  band: Band,
  frame: Set,
  luma: Set,
  measures: Set,
  bits: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> frame: array<u32>;
@group(0) @binding(2) var<storage, read_write> luma: array<f32>;
// Plane 1: luma x 64.
@group(0) @binding(3) var<storage, read_write> measures: array<u32>;

fn lumaAt(x: i32, y: i32) -> f32 {
  let byte = frameByte(call.frame, x, y, call.bits);
  let at = byte >> 2u;
  let samples = samplesOf(frame[at], frame[at + 1u], byte, call.bits);
  let unit = select(1.0 / 257.0, 1.0, call.bits == 8);
  return samples.x * (0.299 * unit) + samples.y * (0.587 * unit) + samples.z * (0.114 * unit);
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = 2 * i32(id.x);
  let y = rowOf(call.band, id);
  let last = call.frame.width - 1;
  let even = lumaAt(x, y);
  let odd = lumaAt(min(x + 1, last), y);
  let row = rowAt(call.luma, 0, y) + x;
  luma[row] = even;
  if (x < last) {
    luma[row + 1] = odd;
  }
  measures[rowAt(call.measures, 1, y) + i32(id.x)] = pairOf(u32(even * 64.0 + 0.5), u32(odd * 64.0 + 0.5));
}

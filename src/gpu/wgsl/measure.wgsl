// Focus measure of a level of a frame in its own pixel grid:
//
//   e = (2 g - left - right)^2 + (2 g - up - down)^2           (squared modified Laplacian of luma)
//   measure = [1 4 6 4 1]/16 x [1 4 6 4 1]/16 window of e
//   code = 512 (log2(measure + 2^-20) + 20), 0..32767, and 0 within the discs, where dust lies on the sensor
//
// Beside it: focusStrip of kernels/assembly/focus.ts, which names the source. A group of 16 x 16 threads writes 32 x 16
// pixels to plane 0 of `measures`.
struct Call {
  band: Band,
  luma: Set,
  measures: Set,
  discCount: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> luma: array<f32>;
@group(0) @binding(2) var<storage, read_write> measures: array<u32>;
// Centre and radius, pixels of the level.
@group(0) @binding(3) var<storage, read> discs: array<vec4f>;

const reach = 2;
const energyWidth = 32 + 2 * reach;
const energyHeight = 16 + 2 * reach;
const lumaWidth = energyWidth + 2;
const lumaHeight = energyHeight + 2;
var<workgroup> lumas: array<f32, lumaWidth * lumaHeight>;
var<workgroup> energies: array<f32, energyWidth * energyHeight>;

/** The logarithm as the processor's kernel takes it: log2(1 + m) by a fit that is within 1.5e-4. */
fn codeOf(measure: f32) -> u32 {
  let bits = bitcast<u32>(measure + 9.5367431640625e-7);
  let exponent = f32(i32(bits >> 23u) - 107);
  let m = bitcast<f32>((bits & 0x7fffffu) | 0x3f800000u) - 1.0;
  let poly = 0.43807325 + m * (-0.23669342 + m * 0.0803073);
  return u32(clamp((exponent + (m + m * (1.0 - m) * poly)) * 512.0 + 0.5, 0.0, 32767.0));
}

/** The window along the row that starts at a sum of columns. */
fn windowAt(at: i32) -> f32 {
  let outer = lumas[at] + lumas[at + 4];
  return (outer + 6.0 * lumas[at + 2] + 4.0 * (lumas[at + 1] + lumas[at + 3])) / 256.0;
}

fn isMasked(x: i32, y: i32) -> bool {
  for (var i = 0; i < call.discCount; i++) {
    let disc = discs[i];
    let off = vec2f(f32(x), f32(y)) - disc.xy;
    if (dot(off, off) <= disc.z * disc.z) {
      return true;
    }
  }
  return false;
}

@compute @workgroup_size(16, 16)
fn main(
  @builtin(global_invocation_id) id: vec3u, @builtin(workgroup_id) group: vec3u, @builtin(local_invocation_index) thread: u32,
) {
  let left = 32 * i32(group.x);
  let top = call.band.fromRow + 16 * i32(group.y);
  for (var i = i32(thread); i < lumaWidth * lumaHeight; i += 256) {
    let x = mirror(min(left + i % lumaWidth - 3, call.luma.width + 2), call.luma.width);
    let y = mirror(min(top + i / lumaWidth - 3, call.luma.height + 2), call.luma.height);
    lumas[i] = luma[rowAt(call.luma, 0, y) + x];
  }
  workgroupBarrier();
  for (var i = i32(thread); i < energyWidth * energyHeight; i += 256) {
    let at = (i / energyWidth + 1) * lumaWidth + i % energyWidth + 1;
    let twice = 2.0 * lumas[at];
    let across = twice - (lumas[at - 1] + lumas[at + 1]);
    let down = twice - (lumas[at - lumaWidth] + lumas[at + lumaWidth]);
    energies[i] = across * across + down * down;
  }
  workgroupBarrier();
  // The window along the columns, in the place of luma, which has served.
  for (var i = i32(thread); i < energyWidth * 16; i += 256) {
    let outer = energies[i] + energies[i + 4 * energyWidth];
    let inner = energies[i + energyWidth] + energies[i + 3 * energyWidth];
    lumas[i] = outer + 4.0 * inner + 6.0 * energies[i + 2 * energyWidth];
  }
  workgroupBarrier();
  if (isOutside(call.band, id)) {
    return;
  }
  let y = rowOf(call.band, id);
  let at = (y - top) * energyWidth + 2 * i32(id.x) - left;
  let x = 2 * i32(id.x);
  let even = select(codeOf(windowAt(at)), 0u, isMasked(x, y));
  let odd = select(codeOf(windowAt(at + 1)), 0u, isMasked(x + 1, y));
  measures[rowAt(call.measures, 0, y) + i32(id.x)] = pairOf(even, odd);
}

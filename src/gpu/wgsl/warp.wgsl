// Resampling of three planes into the anchor's framing: see warpStrip of kernels/assembly/warp.ts, whose two passes are one
// here: six rows about the position, along each of them six taps. toSource: see `warpAffine` in gpu/blend.ts.
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

fn pixelAt(row: i32, x: i32) -> vec3f {
  let at = row + clamp(x, 0, call.source.width - 1);
  return vec3f(source[at], source[at + call.source.planeWords], source[at + 2 * call.source.planeWords]);
}

/** Row v of the source at column x of the output. */
fn alongRow(x: i32, v: i32) -> vec3f {
  let place = placeOf(call.toSource, x, v, f32(x));
  let across = tapsOf(place.cell.x, place.part.x);
  let row = rowAt(call.source, 0, clamp(v, 0, call.source.height - 1));
  var sum = vec3f();
  for (var i = 0; i < 6; i++) {
    sum += pixelAt(row, across.first + i) * taps[8 * across.phase + i];
  }
  return sum;
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = i32(id.x);
  let y = rowOf(call.band, id);
  let place = placeOf(call.toSource, x, y, f32(x));
  let down = tapsOf(place.cell.y, place.part.y);
  var sum = vec3f();
  for (var i = 0; i < 6; i++) {
    sum += alongRow(x, down.first + i) * taps[8 * down.phase + i];
  }
  let at = rowAt(call.out, 0, y) + x;
  out[at] = sum.x;
  out[at + call.out.planeWords] = sum.y;
  out[at + 2 * call.out.planeWords] = sum.z;
}

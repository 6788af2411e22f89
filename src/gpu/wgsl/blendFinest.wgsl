// The finest level of a frame: it is warped only where it has a weight, and its detail, the warped picture less the
// expansion of `coarse`, is added to the sums. See blendFinestStrip of kernels/assembly/blend.ts, and warp.wgsl.
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
  toFrame: Affine,
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

fn pixelAt(x: i32, y: i32) -> vec3f {
  return framePixel(&frame, call.frame, clamp(x, 0, call.frame.width - 1), y, call.bits);
}

/** Row v of the frame at column x of the output. */
fn alongRow(x: i32, v: i32) -> vec3f {
  let place = placeOf(call.toFrame, x, v, f32(x));
  let across = tapsOf(place.cell.x, place.part.x);
  let row = clamp(v, 0, call.frame.height - 1);
  var sum = vec3f();
  for (var i = 0; i < 6; i++) {
    sum += pixelAt(across.first + i, row) * taps[8 * across.phase + i];
  }
  return sum;
}

fn warpedAt(x: i32, y: i32) -> vec3f {
  let place = placeOf(call.toFrame, x, y, f32(x));
  let down = tapsOf(place.cell.y, place.part.y);
  var sum = vec3f();
  for (var i = 0; i < 6; i++) {
    sum += alongRow(x, down.first + i) * taps[8 * down.phase + i];
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
  let tiles = (call.sums.width + tileColumns - 1) / tileColumns;
  let tile = (y / call.tileRows) * tiles + x / tileColumns;
  let isUsed = (uses[tile * call.useWords + (call.ordinal >> 5u)] >> u32(call.ordinal & 31)) & 1u;
  if (isUsed == 0u) {
    return;
  }
  let span = rowAt(call.spans, 0, y) + 2 * call.ordinal;
  if (x < i32(spans[span]) || x >= i32(spans[span + 1])) {
    return;
  }
  let centre = i32(u16Of(plan[rowAt(call.plan, 0, y) + (x >> 1u)], x));
  let packed = i32(u16Of(plan[rowAt(call.plan, 1, y) + (x >> 1u)], x));
  var front = packed >> 6u;
  if (call.plan.planes > 2) {
    front = i32(u16Of(plan[rowAt(call.plan, 2, y) + (x >> 1u)], x));
  }
  let reach = (packed & 63) << u32(call.fractionBits - 4);
  let weights = blendWeights(centre, reach, front == call.ordinal, call.ordinal, call.lost, call.fractionBits);
  if (weights.y == 0.0) {
    return;
  }
  let expansion = vec3f(
    expandedAt(&coarse, call.coarse, 0, x, y),
    expandedAt(&coarse, call.coarse, 1, x, y),
    expandedAt(&coarse, call.coarse, 2, x, y),
  );
  let detail = weights.y * (warpedAt(x, y) * call.gain.xyz - expansion);
  let at = rowAt(call.sums, 0, y) + x;
  let plane = call.sums.planeWords;
  sums[at] += detail.x;
  sums[at + plane] += detail.y;
  sums[at + 2 * plane] += detail.z;
  sums[at + 3 * plane] += weights.x;
}

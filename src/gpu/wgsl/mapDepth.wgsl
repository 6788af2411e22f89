// Depth indices of the map, in 16 bits; certainties are lowered in place. One thread a pair of pixels; what lies about a
// workgroup's pixels is kept in its memory. Beside it: mapDepthStrip of kernels/assembly/map-depth.ts, where the rule is.
struct Call {
  band: Band,
  marks: Set,
  state: Set,
  indices: Set,
  nearSign: i32,
  same: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
// See markDepthEdges.wgsl.
@group(0) @binding(1) var<storage, read> marks: array<u32>;
@group(0) @binding(2) var<storage, read_write> state: array<u32>;
@group(0) @binding(3) var<storage, read_write> indices: array<u32>;

const tileWidth = 32 + 2 * shareRadius;
const tileHeight = 16 + 2 * shareRadius;
// No depth index is so far from any other.
const outside = 0x7fffffff;

/** Marks; depth indices, the less the nearer. */
var<workgroup> tile: array<u32, tileWidth * tileHeight>;
var<workgroup> depths: array<i32, tileWidth * tileHeight>;

/**
 * Depth index of the pixel at `here` in the tile: its own, or the mean of what lies behind it around it; and, in
 * `certaintyParts`, how likely it is which of the two.
 */
fn depthOfMost(here: i32) -> vec2i {
  let own = depths[here];
  let stays = vec2i(own, certaintyParts);
  let untold = vec2i(own, certaintyParts / 2);
  if ((tile[here] & u32(edgeBit)) == 0u) {
    return stays;
  }
  var inner = 0;
  // Moments of the tones, less 128: count, sum, squares, cubes.
  var near = vec4i(0);
  // And the sum of the distances behind.
  var back = vec4i(0);
  for (var v = -shareRadius; v <= shareRadius; v++) {
    for (var u = -shareRadius; u <= shareRadius; u++) {
      let at = here + v * tileWidth + u;
      if (depths[at] == outside) {
        continue;
      }
      let beyond = depths[at] - own;
      let tone = i32(tile[at] & 255u) - 128;
      if (beyond > call.same) {
        back += vec4i(1, tone, tone * tone, beyond);
      } else if (beyond >= -call.same) {
        near += vec4i(1, tone, tone * tone, tone * tone * tone);
        inner += select(0, 1, (tile[at] & u32(edgeBit)) == 0u);
      }
    }
  }
  if (back.x == 0 || inner >= thinPixels) {
    return stays;
  }
  let behind = f32(back.x);
  let ground = f32(back.y) / behind;
  let texture = max(0.0, f32(back.z) / behind - ground * ground);
  let moments = vec4f(near);
  let weight = moments.z - ground * (2.0 * moments.y - moments.x * ground);
  let least = f32(confirmedSigmas * confirmedSigmas) * (texture + toneNoise * toneNoise);
  if (weight <= least) {
    return untold;
  }
  let contrast =
    (moments.w - ground * (3.0 * moments.z - ground * (3.0 * moments.y - moments.x * ground))) / weight;
  if (contrast * contrast <= least) {
    return untold;
  }
  let tone = f32(tile[here] & 255u) - 128.0;
  let alpha = ((tone - ground) * (tone + ground + 256.0)) / (contrast * (2.0 * ground + contrast + 256.0));
  if (alpha >= 0.5) {
    let z = min(4.0, ((alpha - 0.5) * abs(contrast) * f32(confirmedSigmas)) / sqrt(least));
    let odds = powerOfTwo(z * normalSlope * 1.442695);
    return vec2i(own, i32((f32(certaintyParts) * odds) / (1.0 + odds) + 0.5));
  }
  return vec2i(own + i32(f32(back.w) / behind + 0.5), certaintyParts / 2);
}

/** A certainty, so much of it. */
fn lowered(certainty: u32, parts: i32) -> u32 {
  return select(0u, max(1u, (certainty * u32(parts)) / u32(certaintyParts)), certainty > 0u);
}

@compute @workgroup_size(16, 16)
fn main(
  @builtin(global_invocation_id) id: vec3u,
  @builtin(local_invocation_id) local: vec3u,
  @builtin(local_invocation_index) index: u32,
) {
  let x = 2 * i32(id.x);
  let y = rowOf(call.band, id);
  let left = x - 2 * i32(local.x) - shareRadius;
  let top = y - i32(local.y) - shareRadius;
  for (var i = i32(index); i < tileWidth * tileHeight; i += 256) {
    let u = left + i % tileWidth;
    let v = top + i / tileWidth;
    depths[i] = outside;
    if (u >= 0 && v >= 0 && u < call.marks.width && v < call.marks.height) {
      tile[i] = marks[rowAt(call.marks, 0, v) + u];
      depths[i] = call.nearSign * i32(tile[i] >> 16u);
    }
  }
  workgroupBarrier();
  if (isOutside(call.band, id)) {
    return;
  }
  let here = (i32(local.y) + shareRadius) * tileWidth + 2 * i32(local.x) + shareRadius;
  let even = depthOfMost(here);
  var odd = vec2i(0, certaintyParts);
  if (x + 1 < call.marks.width) {
    odd = depthOfMost(here + 1);
  }
  indices[rowAt(call.indices, 0, y) + i32(id.x)] = pairOf(u32(abs(even.x)), u32(abs(odd.x)));
  let at = rowAt(call.state, coarseTonesPlane, y) + i32(id.x);
  state[at] = pairOf(lowered(state[at] & 255u, even.y), lowered((state[at] >> 16u) & 255u, odd.y));
}

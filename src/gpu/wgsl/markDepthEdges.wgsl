// Marks of each pixel: its depth index in the high half of a word; its tone, from the high byte of its certainty, in the low byte;
// `edgeBit` where something behind it lies within reach, and `detailBit` where it shows detail of its own. One thread a pair of
// pixels. Beside it: markDepthEdgesStrip of kernels/assembly/map-depth.ts.
struct Call {
  band: Band,
  surface: Set,
  state: Set,
  marks: Set,
  nearSign: i32,
  same: i32,
  leastEnergy: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
// Depth index in the low half of a word, weight in the high half.
@group(0) @binding(1) var<storage, read> surface: array<u32>;
@group(0) @binding(2) var<storage, read> state: array<u32>;
@group(0) @binding(3) var<storage, read_write> marks: array<u32>;

const tileWidth = 32 + 2 * edgeReach;
const tileHeight = 16 + 2 * edgeReach;

/** Depth indices, the less the nearer; those outside of the picture nearest. */
var<workgroup> tile: array<i32, tileWidth * tileHeight>;

/** Tones of three pixels in a column, above, at and below; beyond the ends of rows and columns they go on. */
fn tonesOf(x: i32, y: i32) -> vec3i {
  let u = clamp(x, 0, call.surface.width - 1);
  var tones: vec3i;
  for (var n = 0; n < 3; n++) {
    let v = clamp(y + n - 1, 0, call.surface.height - 1);
    tones[n] = i32(u16Of(state[rowAt(call.state, coarseTonesPlane, v) + (u >> 1u)], u) >> 8u);
  }
  return tones;
}

/** Whether a pixel shows detail of its own. */
fn showsDetail(x: i32, y: i32) -> bool {
  let left = tonesOf(x - 1, y);
  let middle = tonesOf(x, y);
  let right = tonesOf(x + 1, y);
  let across = right.x + 2 * right.y + right.z - left.x - 2 * left.y - left.z;
  let down = left.z + 2 * middle.z + right.z - left.x - 2 * middle.x - right.x;
  return across * across + down * down > call.leastEnergy;
}

@compute @workgroup_size(16, 16)
fn main(
  @builtin(global_invocation_id) id: vec3u,
  @builtin(local_invocation_id) local: vec3u,
  @builtin(local_invocation_index) index: u32,
) {
  let x = 2 * i32(id.x);
  let y = rowOf(call.band, id);
  let left = x - 2 * i32(local.x) - edgeReach;
  let top = y - i32(local.y) - edgeReach;
  for (var i = i32(index); i < tileWidth * tileHeight; i += 256) {
    let u = left + i % tileWidth;
    let v = top + i / tileWidth;
    var depth = -0x10000;
    if (u >= 0 && v >= 0 && u < call.surface.width && v < call.surface.height) {
      depth = call.nearSign * i32(surface[rowAt(call.surface, 0, v) + u] & 0xffffu);
    }
    tile[i] = depth;
  }
  workgroupBarrier();
  if (isOutside(call.band, id)) {
    return;
  }
  let at = rowAt(call.state, coarseTonesPlane, y) + i32(id.x);
  let stored = state[at];
  for (var i = 0; i < 2 && x + i < call.surface.width; i++) {
    let here = (i32(local.y) + edgeReach) * tileWidth + 2 * i32(local.x) + i + edgeReach;
    let own = tile[here];
    var farthest = own;
    for (var v = -edgeReach; v <= edgeReach; v++) {
      for (var u = -edgeReach; u <= edgeReach; u++) {
        farthest = max(farthest, tile[here + v * tileWidth + u]);
      }
    }
    let edge = select(0u, u32(edgeBit), farthest - own > call.same);
    let detail = select(0u, u32(detailBit), showsDetail(x + i, y));
    let tone = u16Of(stored, i) >> 8u;
    let depth = surface[rowAt(call.surface, 0, y) + x + i] << 16u;
    marks[rowAt(call.marks, 0, y) + x + i] = depth | detail | edge | tone;
  }
}

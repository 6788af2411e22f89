// Marks of each pixel: its depth index in the high half of a word, its tone, moved there from the high byte of its certainty, in
// the low byte, and `edgeBit` where something behind it lies within reach. One thread a pair of pixels. Beside it:
// markDepthEdgesStrip of kernels/assembly/map-depth.ts.
struct Call {
  band: Band,
  surface: Set,
  state: Set,
  marks: Set,
  nearSign: i32,
  same: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
// Depth index in the low half of a word, weight in the high half.
@group(0) @binding(1) var<storage, read> surface: array<u32>;
@group(0) @binding(2) var<storage, read_write> state: array<u32>;
@group(0) @binding(3) var<storage, read_write> marks: array<u32>;

const tileWidth = 32 + 2 * edgeReach;
const tileHeight = 16 + 2 * edgeReach;

/** Depth indices, the less the nearer; those outside of the picture nearest. */
var<workgroup> tile: array<i32, tileWidth * tileHeight>;

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
    let tone = u16Of(stored, i) >> 8u;
    marks[rowAt(call.marks, 0, y) + x + i] = (u32(abs(own)) << 16u) | edge | tone;
  }
  state[at] = stored & 0x00ff00ffu;
}

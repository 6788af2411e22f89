// Certainties of the map, in place: halved where detail to one side alone gives the depth; tones above them are cleared. One thread
// a pair of pixels; what lies about a workgroup's pixels is kept in its memory. Beside it: halveOneSidedStrip of
// kernels/assembly/map-depth.ts, where the rule is.
struct Call {
  band: Band,
  indices: Set,
  marks: Set,
  state: Set,
  same: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
// Depth indices of the map, in 16 bits.
@group(0) @binding(1) var<storage, read> indices: array<u32>;
// See markDepthEdges.wgsl.
@group(0) @binding(2) var<storage, read> marks: array<u32>;
@group(0) @binding(3) var<storage, read_write> state: array<u32>;

const tileWidth = 32 + 2 * ringRadius;
const tileHeight = 16 + 2 * ringRadius;
/** Steps of a ray along a diagonal that is as long. */
const diagonalSteps = i32(f32(ringRadius) * 0.70710678 + 0.5);
// Counter-clockwise from the right.
const rays = array(
  vec2i(1, 0), vec2i(1, -1), vec2i(0, -1), vec2i(-1, -1), vec2i(-1, 0), vec2i(-1, 1), vec2i(0, 1), vec2i(1, 1),
);

/** Depth indices, above `detailBit` of marks; 0 outside of the picture. */
var<workgroup> tile: array<u32, tileWidth * tileHeight>;

/** Whether no detail of its depth surrounds the pixel at `here` in the tile. */
fn isOneSided(here: i32) -> bool {
  let own = i32(tile[here] >> 16u);
  var missed = 0u;
  for (var ray = 0; ray < 8; ray++) {
    let toward = rays[ray];
    let steps = select(diagonalSteps, ringRadius, toward.x == 0 || toward.y == 0);
    var hit = false;
    // The gradient of a line is two pixels wide at least.
    for (var n = 2; n <= steps && !hit; n += 2) {
      let there = tile[here + n * (toward.y * tileWidth + toward.x)];
      hit = (there & u32(detailBit)) != 0u && abs(i32(there >> 16u) - own) <= call.same;
    }
    missed |= select(1u, 0u, hit) << u32(ray);
  }
  // The rays form a ring: their eight bits twice, and in them a run of four.
  let twice = missed | (missed << 8u);
  let pairs = twice & (twice >> 1u);
  return (pairs & (pairs >> 2u)) != 0u;
}

@compute @workgroup_size(16, 16)
fn main(
  @builtin(global_invocation_id) id: vec3u,
  @builtin(local_invocation_id) local: vec3u,
  @builtin(local_invocation_index) index: u32,
) {
  let x = 2 * i32(id.x);
  let y = rowOf(call.band, id);
  let left = x - 2 * i32(local.x) - ringRadius;
  let top = y - i32(local.y) - ringRadius;
  for (var i = i32(index); i < tileWidth * tileHeight; i += 256) {
    let u = left + i % tileWidth;
    let v = top + i / tileWidth;
    tile[i] = 0u;
    if (u >= 0 && v >= 0 && u < call.marks.width && v < call.marks.height) {
      let depth = u16Of(indices[rowAt(call.indices, 0, v) + (u >> 1u)], u);
      tile[i] = (depth << 16u) | (marks[rowAt(call.marks, 0, v) + u] & u32(detailBit));
    }
  }
  workgroupBarrier();
  if (isOutside(call.band, id)) {
    return;
  }
  let at = rowAt(call.state, coarseTonesPlane, y) + i32(id.x);
  let here = (i32(local.y) + ringRadius) * tileWidth + 2 * i32(local.x) + ringRadius;
  var word = state[at] & 0x00ff00ffu;
  for (var i = 0; i < 2 && x + i < call.marks.width; i++) {
    let certainty = u16Of(word, i);
    let isOwn = (tile[here + i] & u32(detailBit)) != 0u;
    if (certainty == 0u || isOwn || !isOneSided(here + i)) {
      continue;
    }
    let shift = 16u * u32(i);
    word = (word & ~(0xffffu << shift)) | (max(1u, certainty >> 1u) << shift);
  }
  state[at] = word;
}

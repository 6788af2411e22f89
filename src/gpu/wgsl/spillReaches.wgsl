// Radius, px, in which spill into each block of 32 px is searched for: see `spillReaches` in blend/spill-reaches.ts.
// blocks: the nearest and the farthest depth index of each, see spillBlocks.wgsl.
struct Call {
  band: Band,
  blocks: Set,
  out: Set,
  gap: i32,
  pxPerUnit: f32,
  maxReachPx: f32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> blocks: array<i32>;
@group(0) @binding(2) var<storage, read_write> out: array<f32>;

const blockPx = 32.0;

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = i32(id.x);
  let y = rowOf(call.band, id);
  let far = blocks[rowAt(call.blocks, 1, y) + x];
  let around = i32(ceil(call.maxReachPx / blockPx));
  var reach = 0.0;
  for (var v = max(0, y - around); v <= min(call.blocks.height - 1, y + around); v++) {
    let row = rowAt(call.blocks, 0, v);
    for (var u = max(0, x - around); u <= min(call.blocks.width - 1, x + around); u++) {
      let nearer = far - blocks[row + u];
      if (nearer > call.gap) {
        let radius = min(call.maxReachPx, f32(nearer) * call.pxPerUnit);
        let apart = blockPx * length(vec2f(f32(max(0, abs(u - x) - 1)), f32(max(0, abs(v - y) - 1))));
        if (radius > reach && radius >= apart) {
          reach = radius;
        }
      }
    }
  }
  out[rowAt(call.out, 0, y) + x] = reach;
}

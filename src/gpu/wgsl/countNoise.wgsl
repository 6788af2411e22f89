// Counts the measures of a level at every `every`-th pixel, by brightness: the lowest tell the noise of the frame, see
// `noteNoise` of focus/focus-tracker.ts. Counts of whole numbers come out the same in any order.
struct Call {
  band: Band,
  codes: Set,
  luma: Set,
  level: i32,
  edge: i32,
  every: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
// Measures of the level: plane 0.
@group(0) @binding(1) var<storage, read> codes: array<u32>;
// Measures of level 0: luma x 64 in plane 1.
@group(0) @binding(2) var<storage, read> luma: array<u32>;
// 32768 codes of each of eight bins of brightness.
@group(0) @binding(3) var<storage, read_write> counts: array<atomic<u32>>;

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = call.edge + call.every * i32(id.x);
  let y = call.edge + call.every * rowOf(call.band, id);
  let code = u16Of(codes[rowAt(call.codes, 0, y) + (x >> 1u)], x);
  let column = min(call.luma.width - 1, x << u32(call.level));
  let row = min(call.luma.height - 1, y << u32(call.level));
  let tone = u16Of(luma[rowAt(call.luma, 1, row) + (column >> 1u)], column) >> 6u;
  atomicAdd(&counts[min(7u, tone >> 5u) * 32768u + code], 1u);
}

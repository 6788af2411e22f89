// Cells of twice the side from four each: see mergeSpillCellsStrip of kernels/assembly/spill.ts, and spillCells.wgsl for
// what a cell holds.
struct Call {
  band: Band,
  fine: Set,
  out: Set,
  gap: i32,
  nearSign: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> fine: array<u32>;
@group(0) @binding(2) var<storage, read_write> out: array<u32>;

const farthest = 0x7fffffff;

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = i32(id.x);
  let y = rowOf(call.band, id);
  var nearest = farthest;
  for (var i = 0; i < 4; i++) {
    let u = 2 * x + (i & 1);
    let v = 2 * y + (i >> 1u);
    if (u < call.fine.width && v < call.fine.height) {
      let depth = i32(fine[rowAt(call.fine, 4, v) + u] & 0xffffu);
      if (depth > 0) {
        nearest = min(nearest, call.nearSign * depth);
      }
    }
  }
  var layers = Layers();
  for (var i = 0; i < 4; i++) {
    let u = 2 * x + (i & 1);
    let v = 2 * y + (i >> 1u);
    if (u < call.fine.width && v < call.fine.height) {
      let depths = fine[rowAt(call.fine, 4, v) + u];
      for (var layer = 0; layer < 2; layer++) {
        let depth = i32(u16Of(depths, layer));
        if (depth > 0) {
          let light = lightOfWords(fine[rowAt(call.fine, 2 * layer, v) + u], fine[rowAt(call.fine, 2 * layer + 1, v) + u]);
          addLayer(&layers, light, depth, call.nearSign * depth - nearest < call.gap);
        }
      }
    }
  }
  let cell = cellOf(layers);
  for (var word = 0; word < 5; word++) {
    out[rowAt(call.out, word, y) + x] = cell[word];
  }
}

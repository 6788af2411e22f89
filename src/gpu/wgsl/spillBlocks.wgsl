// The nearest and the farthest depth index of each block of 8 x 8 cells of 4 px, nearSign times, as `spillReaches` in
// blend/spill-reaches.ts takes them: two planes of whole numbers; a block without any has its nearest beyond its farthest.
struct Call {
  band: Band,
  cells: Set,
  out: Set,
  nearSign: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> cells: array<u32>;
@group(0) @binding(2) var<storage, read_write> out: array<i32>;

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = i32(id.x);
  let y = rowOf(call.band, id);
  var nearest = 0x3fffffff;
  var farthest = -0x3fffffff;
  for (var v = 8 * y; v < min(call.cells.height, 8 * y + 8); v++) {
    let row = rowAt(call.cells, 4, v);
    for (var u = 8 * x; u < min(call.cells.width, 8 * x + 8); u++) {
      let depths = cells[row + u];
      let front = call.nearSign * i32(depths & 0xffffu);
      let rest = call.nearSign * i32(depths >> 16u);
      if (front != 0) {
        nearest = min(nearest, front);
        farthest = max(farthest, select(rest, front, rest == 0));
      }
    }
  }
  out[rowAt(call.out, 0, y) + x] = nearest;
  out[rowAt(call.out, 1, y) + x] = farthest;
}

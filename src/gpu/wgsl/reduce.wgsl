// The 5-tap pyramid of Burt & Adelson (IEEE Trans. Commun. COM-31, 1983), a = 0.375: [1 4 6 4 1] / 16 in both
// directions. Coarse pixel (i, j) lies at fine pixel (2 i, 2 j); sizes are halved rounding up; borders are mirrored.
// One thread writes a pixel of every plane. Beside it: reduceStrip of kernels/assembly/pyramid.ts.
struct Call {
  band: Band,
  fine: Set,
  coarse: Set,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> fine: array<f32>;
@group(0) @binding(2) var<storage, read_write> coarse: array<f32>;

fn alongRow(plane: i32, i: i32, y: i32) -> f32 {
  let row = rowAt(call.fine, plane, mirror(y, call.fine.height));
  let n = call.fine.width;
  let outer = fine[row + mirror(2 * i - 2, n)] + fine[row + mirror(2 * i + 2, n)];
  let inner = fine[row + mirror(2 * i - 1, n)] + fine[row + mirror(2 * i + 1, n)];
  return outer + 4.0 * inner + 6.0 * fine[row + 2 * i];
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let i = i32(id.x);
  let j = rowOf(call.band, id);
  for (var plane = 0; plane < call.coarse.planes; plane++) {
    let outer = alongRow(plane, i, 2 * j - 2) + alongRow(plane, i, 2 * j + 2);
    let inner = alongRow(plane, i, 2 * j - 1) + alongRow(plane, i, 2 * j + 1);
    coarse[rowAt(call.coarse, plane, j) + i] = (outer + 4.0 * inner + 6.0 * alongRow(plane, i, 2 * j)) / 256.0;
  }
}

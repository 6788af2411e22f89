// One pass of edge-avoiding smoothing with holes of `hole` pixels, at most 6, between its 3 x 3 taps. A word a pixel: depth
// index in the low half, weight in the high half. What lies about a workgroup's pixels is kept in its memory. Beside it:
// smoothStrip of kernels/assembly/surface.ts, where the formula is.
struct Call {
  band: Band,
  surface: Set,
  smoothed: Set,
  hole: i32,
  // 1 over the square of the tolerance, stored units.
  strictness: f32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> surface: array<u32>;
@group(0) @binding(2) var<storage, read_write> smoothed: array<u32>;

const mostHole = 6;

/** Taps of the smoothing: [1 2 1] / 4. */
fn tapOf(i: i32) -> f32 {
  return select(0.25, 0.5, i == 0);
}

var<workgroup> tile: array<u32, (16 + 2 * mostHole) * (16 + 2 * mostHole)>;

@compute @workgroup_size(16, 16)
fn main(
  @builtin(global_invocation_id) id: vec3u,
  @builtin(local_invocation_id) local: vec3u,
  @builtin(local_invocation_index) index: u32,
) {
  let x = i32(id.x);
  let y = rowOf(call.band, id);
  let reach = call.hole;
  let side = 16 + 2 * reach;
  let left = x - i32(local.x) - reach;
  let top = y - i32(local.y) - reach;
  for (var i = i32(index); i < side * side; i += 256) {
    let u = left + i % side;
    let v = top + i / side;
    if (u >= 0 && v >= 0 && u < call.surface.width && v < call.surface.height) {
      tile[i] = surface[rowAt(call.surface, 0, v) + u];
    }
  }
  workgroupBarrier();
  if (isOutside(call.band, id)) {
    return;
  }
  let at = (i32(local.y) + reach) * side + i32(local.x) + reach;
  let here = f32(tile[at] & 0xffffu);
  // A pixel whose own depth index is unknown takes every neighbour as alike.
  let strictness = select(0.0, call.strictness, (tile[at] >> 16u) > 0u);
  var sum = 0.0;
  var indexSum = 0.0;
  var agreeing = 0.0;
  for (var j = -1; j <= 1; j++) {
    let v = y + j * call.hole;
    if (v < 0 || v >= call.surface.height) {
      continue;
    }
    for (var i = -1; i <= 1; i++) {
      let u = x + i * call.hole;
      if (u < 0 || u >= call.surface.width) {
        continue;
      }
      let tap = tapOf(i) * tapOf(j);
      let word = tile[at + call.hole * (j * side + i)];
      let known = f32(word >> 16u);
      let depthIndex = f32(word & 0xffffu);
      let difference = depthIndex - here;
      let apart = difference * difference * strictness;
      let agrees = tap / (1.0 + apart * apart);
      let alike = agrees * known;
      agreeing += select(tap, agrees, known > 0.0);
      sum += alike;
      indexSum += alike * depthIndex;
    }
  }
  let depthIndex = select(here, indexSum / max(sum, 1e-20), sum > 0.0);
  let weight = sum / max(agreeing, 1e-20);
  smoothed[rowAt(call.smoothed, 0, y) + x] = pairOf(u32(depthIndex + 0.5), u32(weight + 0.5));
}

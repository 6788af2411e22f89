// A map of half the size for push and pull. A word a pixel: depth index in the low half; in the high half confidence, 0 to
// 32768, or weight where `fullWeight` is not 0. One thread a pixel of the coarser map. Beside it: pushStrip of
// kernels/assembly/surface.ts, where the formula is.
struct Call {
  band: Band,
  fine: Set,
  coarse: Set,
  fullWeight: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> fine: array<u32>;
@group(0) @binding(2) var<storage, read_write> coarse: array<u32>;

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = i32(id.x);
  let y = rowOf(call.band, id);
  var sum = 0u;
  // The sum of weighted indices takes 34 bits: that of their high bytes, and that of their low bytes.
  var highSum = 0u;
  var lowSum = 0u;
  for (var v = 2 * y; v < min(2 * y + 2, call.fine.height); v++) {
    for (var u = 2 * x; u < min(2 * x + 2, call.fine.width); u++) {
      let word = fine[rowAt(call.fine, 0, v) + u];
      let weight = confidenceOf(word >> 16u, call.fullWeight);
      sum += weight;
      highSum += weight * ((word & 0xffffu) >> 8u);
      lowSum += weight * (word & 0xffu);
    }
  }
  var depthIndex = 0u;
  if (sum > 0u) {
    depthIndex = (highSum / sum) * 256u + ((highSum % sum) * 256u + lowSum + (sum >> 1u)) / sum;
  }
  coarse[rowAt(call.coarse, 0, y) + x] = pairOf(depthIndex, min(fullConfidence, sum));
}

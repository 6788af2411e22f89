// The surface of a level from the one of twice its size: in plane 0 the median of the 3 x 3 finer depth indices about each,
// in plane 1 the nearest of them where it is nearer by more than nearApart. Depth indices are the low halves of words.
// nearSign 0: both planes hold medians. Beside it: halveIndicesStrip of kernels/assembly/plan.ts.
struct Call {
  band: Band,
  fine: Set,
  out: Set,
  nearSign: i32,
  nearApart: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> fine: array<u32>;
@group(0) @binding(2) var<storage, read_write> out: array<u32>;

/** Three neighbours in order. */
fn fineRow(x: i32, y: i32) -> vec3i {
  let row = rowAt(call.fine, 0, clamp(y, 0, call.fine.height - 1));
  let a = i32(fine[row + max(0, 2 * x - 1)] & 0xffffu);
  let b = i32(fine[row + 2 * x] & 0xffffu);
  let c = i32(fine[row + min(call.fine.width - 1, 2 * x + 1)] & 0xffffu);
  let low = min(a, min(b, c));
  let high = max(a, max(b, c));
  return vec3i(low, a + b + c - low - high, high);
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = i32(id.x);
  let y = rowOf(call.band, id);
  let above = fineRow(x, 2 * y - 1);
  let here = fineRow(x, 2 * y);
  let below = fineRow(x, 2 * y + 1);
  // The median of: largest least, median middle, least largest.
  let lowest = max(above.x, max(here.x, below.x));
  let highest = min(above.z, min(here.z, below.z));
  let middle = max(min(above.y, here.y), min(max(above.y, here.y), below.y));
  let median = max(min(lowest, middle), min(max(lowest, middle), highest));
  let low = min(above.x, min(here.x, below.x));
  let high = max(above.z, max(here.z, below.z));
  let nearest = select(high, low, call.nearSign > 0);
  let isNear = call.nearSign * (median - nearest) > call.nearApart;
  out[rowAt(call.out, 0, y) + x] = u32(median);
  out[rowAt(call.out, 1, y) + x] = u32(select(median, nearest, isNear));
}

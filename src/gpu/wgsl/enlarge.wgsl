// The surface of level 0 from that of level 1, whose pixel (i, j) lies at (2 i, 2 j): its depth indices between these, and
// the weight of the pixel to the upper left. Words as in push.wgsl; one thread a pixel. Beside it: enlargeStrip of
// kernels/assembly/surface.ts, where the formula is.
struct Call {
  band: Band,
  coarse: Set,
  picks: Set,
  surface: Set,
  same: i32,
  fractionBits: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> coarse: array<u32>;
// Of level 0: ordinals of the sharpest frames in the plane that a state has them in.
@group(0) @binding(2) var<storage, read> picks: array<u32>;
@group(0) @binding(3) var<storage, read_write> surface: array<u32>;

fn wordAt(x: i32, y: i32) -> u32 {
  let row = rowAt(call.coarse, 0, min(y, call.coarse.height - 1));
  return coarse[row + min(x, call.coarse.width - 1)];
}

/** The mean, halves up. */
fn meanOf(first: i32, other: i32) -> i32 {
  return (first + other + 1) >> 1u;
}

/** The one nearer to `own`; of equally near ones the first. */
fn nearer(first: i32, other: i32, own: i32) -> i32 {
  return select(other, first, abs(first - own) <= abs(other - own));
}

fn between(first: i32, other: i32, own: i32) -> i32 {
  return select(nearer(first, other, own), meanOf(first, other), abs(first - other) <= call.same);
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = i32(id.x);
  let y = rowOf(call.band, id);
  let i = x >> 1u;
  let j = y >> 1u;
  let word = wordAt(i, j);
  let first = i32(word & 0xffffu);
  let right = i32(wordAt(i + 1, j) & 0xffffu);
  let below = i32(wordAt(i, j + 1) & 0xffffu);
  let across = i32(wordAt(i + 1, j + 1) & 0xffffu);
  let ordinal = i32(u16Of(picks[rowAt(call.picks, bestOrdinalPlane, y) + (x >> 1u)], x));
  let own = (ordinal + i32(indexOffset)) << u32(call.fractionBits);
  var index = first;
  if ((x & 1) == 1 && (y & 1) == 1) {
    let low = min(min(first, right), min(below, across));
    let high = max(max(first, right), max(below, across));
    if (high - low <= call.same) {
      index = meanOf(meanOf(first, right), meanOf(below, across));
    } else {
      index = nearer(nearer(first, right, own), nearer(below, across, own), own);
    }
  } else if ((x & 1) == 1) {
    index = between(first, right, own);
  } else if ((y & 1) == 1) {
    index = between(first, below, own);
  }
  surface[rowAt(call.surface, 0, y) + x] = pairOf(u32(index), word >> 16u);
}

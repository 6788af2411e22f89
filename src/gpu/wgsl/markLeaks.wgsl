// Marks the best peaks of a level, 1 or coarser, that are the detail of something beside, by `leakBit` of their weights. The
// finer level has been judged before. One thread a pair of pixels; what the finer level shows about a workgroup's pixels is
// kept in its memory. Beside it: markLeaksStrip of kernels/assembly/window-leaks.ts, where the rule is.
struct Call {
  band: Band,
  peaks: Set,
  fine: Set,
  same: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read_write> peaks: array<u32>;
@group(0) @binding(2) var<storage, read> fine: array<u32>;

const least = i32(minPeakOctaves * codesPerOctave);
const shownLeast = i32(clearOctaves * codesPerOctave);
// Columns and rows of the finer level about the 32 x 16 pixels of a workgroup.
const tileWidth = 2 * 32 + 4 * leakRadius;
const tileHeight = 2 * 16 + 4 * leakRadius;

// Depth index in the low half of a word, rise in the high half; 0 where there is no peak, where it is a leak, or outside.
var<workgroup> shown: array<u32, tileWidth * tileHeight>;
var<workgroup> asked: atomic<u32>;

fn peakAt(plane: i32, x: i32, y: i32) -> i32 {
  return i32(u16Of(peaks[rowAt(call.peaks, plane, y) + (x >> 1u)], x));
}

fn fineAt(plane: i32, x: i32, y: i32) -> i32 {
  return i32(u16Of(fine[rowAt(call.fine, plane, y) + (x >> 1u)], x));
}

/** Whether one of the two peaks of a pixel of the finer level is near `depthIndex` and no leak. */
fn shows(x: i32, y: i32, depthIndex: i32) -> bool {
  if (
    fineAt(risePlane, x, y) >= shownLeast && abs(fineAt(indexPlane, x, y) - depthIndex) < call.same &&
    (fineAt(weightPlane, x, y) & leakBit) == 0
  ) {
    return true;
  }
  return fineAt(secondRisePlane, x, y) >= shownLeast && abs(fineAt(secondIndexPlane, x, y) - depthIndex) < call.same;
}

/** Whether a pixel has a peak that none of its finer pixels shows. */
fn isAsked(x: i32, y: i32) -> bool {
  if (x >= call.peaks.width || y >= call.band.toRow || peakAt(risePlane, x, y) < least) {
    return false;
  }
  let depthIndex = peakAt(indexPlane, x, y);
  for (var i = 0; i < 4; i++) {
    let column = min(call.fine.width - 1, 2 * x + (i & 1));
    let row = min(call.fine.height - 1, 2 * y + (i >> 1u));
    if (shows(column, row, depthIndex)) {
      return false;
    }
  }
  return true;
}

/** Whether a peak of the tile is of a depth index, and at least `height` high. */
fn isShown(x: i32, y: i32, depthIndex: i32, height: i32) -> bool {
  let peak = shown[y * tileWidth + x];
  return i32(peak >> 16u) >= height && abs(i32(peak & 0xffffu) - depthIndex) < call.same;
}

/** Whether a pixel that is asked is a leak; x, y: of the tile's finer pixel that it begins at. */
fn isLeak(x: i32, y: i32, depthIndex: i32, rise: i32) -> bool {
  // One bit for each quarter of what is close: the finer level shows the depth index on opposite sides?
  var quarters = 0u;
  let close = 2 * leakRadius;
  for (var v = y - close; v < y + close + 2; v++) {
    for (var u = x - close; u < x + close + 2; u++) {
      if (isShown(u, v, depthIndex, least)) {
        quarters |= 1u << (u32(u > x) + 2u * u32(v > y));
      }
    }
  }
  if ((quarters & 9u) == 9u || (quarters & 6u) == 6u) {
    return false;
  }
  let wide = 2 * leakRadius;
  for (var v = y - wide; v < y + wide + 2; v++) {
    for (var u = x - wide; u < x + wide + 2; u++) {
      if (isShown(u, v, depthIndex, rise)) {
        return true;
      }
    }
  }
  return false;
}

@compute @workgroup_size(16, 16)
fn main(
  @builtin(global_invocation_id) id: vec3u,
  @builtin(local_invocation_id) local: vec3u,
  @builtin(local_invocation_index) index: u32,
) {
  if (index == 0u) {
    atomicStore(&asked, 0u);
  }
  workgroupBarrier();
  let x = 2 * i32(id.x);
  let y = rowOf(call.band, id);
  // A bit for each of the two pixels.
  var own = 0u;
  for (var i = 0; i < 2; i++) {
    own |= u32(isAsked(x + i, y)) << u32(i);
  }
  if (own != 0u) {
    atomicOr(&asked, 1u);
  }
  if (workgroupUniformLoad(&asked) == 0u) {
    return;
  }
  let column = 2 * (x - 2 * i32(local.x)) - 2 * leakRadius;
  let row = 2 * (y - i32(local.y)) - 2 * leakRadius;
  for (var i = i32(index); i < tileWidth * tileHeight; i += 256) {
    let u = column + i % tileWidth;
    let v = row + i / tileWidth;
    var peak = 0u;
    if (u >= 0 && v >= 0 && u < call.fine.width && v < call.fine.height && (fineAt(weightPlane, u, v) & leakBit) == 0) {
      peak = u32(fineAt(indexPlane, u, v)) | (u32(fineAt(risePlane, u, v)) << 16u);
    }
    shown[i] = peak;
  }
  workgroupBarrier();
  var marks = 0u;
  for (var i = 0; i < 2; i++) {
    if ((own & (1u << u32(i))) == 0u) {
      continue;
    }
    let u = 4 * i32(local.x) + 2 * i + 2 * leakRadius;
    let v = 2 * i32(local.y) + 2 * leakRadius;
    if (isLeak(u, v, peakAt(indexPlane, x + i, y), peakAt(risePlane, x + i, y))) {
      marks |= u32(leakBit) << (16u * u32(i));
    }
  }
  if (marks != 0u) {
    peaks[rowAt(call.peaks, weightPlane, y) + i32(id.x)] |= marks;
  }
}

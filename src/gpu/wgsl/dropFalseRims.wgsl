// Takes rise and weight from the peaks of a level that lie under a mark of about their depth index; marks of a level 2^shift
// times smaller, see markFalseRims.wgsl. One thread a pair of pixels. Beside it: dropFalseRimsStrip of
// kernels/assembly/false-rims.ts.
struct Call {
  band: Band,
  peaks: Set,
  marks: Set,
  shift: i32,
  apart: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read_write> peaks: array<u32>;
@group(0) @binding(2) var<storage, read> marks: array<u32>;

/** The half word of column x, where its peak is to be dropped. */
fn dropped(x: i32, y: i32, indices: u32) -> u32 {
  let shift = u32(call.shift);
  let column = x >> shift;
  let mark = i32(u16Of(marks[rowAt(call.marks, 0, y >> shift) + (column >> 1u)], column));
  let isDropped = mark != 0 && abs(i32(u16Of(indices, x)) - mark) <= call.apart;
  return select(0u, 0xffffu << ((u32(x) & 1u) * 16u), isDropped);
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = 2 * i32(id.x);
  let y = rowOf(call.band, id);
  let row = rowAt(call.peaks, 0, y) + i32(id.x);
  let plane = call.peaks.planeWords;
  let indices = peaks[row + indexPlane * plane];
  var kept = ~dropped(x, y, indices);
  if (x + 1 < call.peaks.width) {
    kept &= ~dropped(x + 1, y, indices);
  }
  if (kept != 0xffffffffu) {
    peaks[row + risePlane * plane] &= kept;
    peaks[row + weightPlane * plane] &= kept;
  }
}

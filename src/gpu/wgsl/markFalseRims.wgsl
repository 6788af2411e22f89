// The false rims of one level by the detail of a finer one: marks are the depth index of the peak that is one, 0 = none. One
// thread a pair of pixels. Beside it: markFalseRimsStrip of kernels/assembly/false-rims.ts, where the rule is.
struct Call {
  band: Band,
  peaks: Set,
  fine: Set,
  marks: Set,
  pitch: f32,
  fineShift: i32,
  blurPx: f32,
  frames: i32,
  samples: i32,
  widestPx: f32,
  fractionBits: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> peaks: array<u32>;
@group(0) @binding(2) var<storage, read> fine: array<u32>;
@group(0) @binding(3) var<storage, read_write> marks: array<u32>;
// Cosine, sine and distance from the centre, 0 to 1, of each sample.
@group(0) @binding(4) var<storage, read> spiral: array<f32>;

const perOctave = 1.0 / codesPerOctave;

fn peakAt(plane: i32, x: i32, y: i32) -> u32 {
  return u16Of(peaks[rowAt(call.peaks, plane, y) + (x >> 1u)], x);
}

/** Largest of four rises spread over the finer pixels of a coarse one, octaves. */
fn fineRiseOf(x: i32, y: i32) -> f32 {
  let shift = u32(call.fineShift);
  let half = (1 << shift) >> 1u;
  var found = 0u;
  for (var j = 0; j < 2; j++) {
    let row = rowAt(call.fine, risePlane, min(call.fine.height - 1, (y << shift) + j * half));
    for (var i = 0; i < 2; i++) {
      let column = min(call.fine.width - 1, (x << shift) + i * half);
      found = max(found, u16Of(fine[row + (column >> 1u)], column));
    }
  }
  return f32(found) * perOctave;
}

fn markOf(x: i32, y: i32) -> u32 {
  if (x >= call.peaks.width) {
    return 0u;
  }
  let rise = f32(peakAt(risePlane, x, y)) * perOctave;
  if (rise <= 0.0 || (peakAt(weightPlane, x, y) & ~u32(gapBit)) == 0u) {
    return 0u;
  }
  if (fineRiseOf(x, y) >= max(clearOctaves, rise - rimTolerance)) {
    return 0u;
  }
  let pitch = call.pitch;
  let perPitch = 1.0 / pitch;
  let stored = peakAt(indexPlane, x, y);
  let depthIndex = depthIndexAt(stored, call.fractionBits);
  let farthest = call.blurPx * max(depthIndex - 1.0, f32(call.frames) - depthIndex);
  let reach = min(call.widestPx, farthest + f32(windowRadius) * pitch);
  for (var i = 0; i < call.samples; i++) {
    let distance = reach * spiral[3 * i + 2];
    let u = i32(floor(f32(x) + distance * perPitch * spiral[3 * i] + 0.5));
    let v = i32(floor(f32(y) + distance * perPitch * spiral[3 * i + 1] + 0.5));
    if (u < 0 || v < 0 || u >= call.peaks.width || v >= call.peaks.height) {
      continue;
    }
    let lead = f32(peakAt(risePlane, u, v)) * perOctave - rise;
    if (lead < clearOctaves) {
      continue;
    }
    let radius = abs(depthIndexAt(peakAt(indexPlane, u, v), call.fractionBits) - depthIndex) * call.blurPx;
    if (radius < pitch || distance > radius + f32(windowRadius) * pitch || distance < 0.5 * radius) {
      continue;
    }
    let spread = radius * perPitch * radius * perPitch;
    if (powerOfTwo(lead + rimTolerance) > spread * spread) {
      return stored;
    }
  }
  return 0u;
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = 2 * i32(id.x);
  let y = rowOf(call.band, id);
  marks[rowAt(call.marks, 0, y) + i32(id.x)] = pairOf(markOf(x, y), markOf(x + 1, y));
}

// Planes 0..255 to interleaved RGB of 8 or 16 bits, rounded and clamped: see quantiseStrip of kernels/assembly/collapse.ts.
// out: a frame, whose rows are tight. A thread writes a word, which belongs to the row in which it begins and may end in
// the next one.
struct Call {
  band: Band,
  picture: Set,
  out: Set,
  bits: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> picture: array<f32>;
@group(0) @binding(2) var<storage, read_write> out: array<u32>;

/** A sample of the picture by its number. */
fn sampleOf(number: u32, unit: f32, top: f32) -> u32 {
  let across = 3u * u32(call.picture.width);
  let y = i32(number / across);
  let i = i32(number % across);
  if (y >= call.picture.height) {
    return 0u;
  }
  return u32(clamp(picture[rowAt(call.picture, i % 3, y) + i / 3] * unit + 0.5, 0.0, top));
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let perWord = select(2u, 4u, call.bits == 8);
  let start = u32(rowOf(call.band, id)) * 3u * u32(call.picture.width);
  let word = (start + perWord - 1u) / perWord + id.x;
  let first = word * perWord;
  if (first >= start + 3u * u32(call.picture.width)) {
    return;
  }
  var samples = 0u;
  if (call.bits == 8) {
    for (var k = 0u; k < 4u; k++) {
      samples |= sampleOf(first + k, 1.0, 255.0) << (8u * k);
    }
  } else {
    samples = pairOf(sampleOf(first, 257.0, 65535.0), sampleOf(first + 1u, 257.0, 65535.0));
  }
  out[word - call.out.startByte / 4u] = samples;
}

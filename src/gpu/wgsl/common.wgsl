// Shared by kernels: the build puts behind each what it uses of this file, of resample.wgsl and of the constants of the model.
//
// A set of planes is one buffer whose rows are interleaved by plane, so that a window of rows is contiguous: word
// (y - firstRow) * rowWords + plane * planeWords holds the first element of a row. 32-bit elements take a word each,
// 16-bit ones half a word and bytes a quarter, the lower first. What lies between the end of a row and the next one is
// undefined. So is the memory of a workgroup before it is written.

/** A set of planes as a kernel sees it: the rows from firstRow on are bound. */
struct Set {
  width: i32,
  height: i32,
  planes: i32,
  firstRow: i32,
  rowWords: i32,
  planeWords: i32,
  // Of frames, whose rows are tight: bytes from row to row, and of the buffer before what is bound.
  rowBytes: u32,
  startByte: u32,
}

/** What a dispatch works on: threads with x < width, rows fromRow to toRow - 1. */
struct Band {
  width: i32,
  fromRow: i32,
  toRow: i32,
  unused: i32,
}

/**
 * (x, y) of one grid to (x + linear.x x + linear.y y + c, y + linear.z x + linear.w y + f) of another; c and f are
 * whole + part. Kept apart, so that 32-bit numbers place a pixel to 1e-5 px in frames of any size.
 */
struct Affine {
  linear: vec4f,
  whole: vec2i,
  part: vec2f,
}

/** A position between pixels: the pixel to its upper left, and the part beyond it, 0 to 1. */
struct Place {
  cell: vec2i,
  part: vec2f,
}

/** Where pixel (x, y) lies by the shift at a column of its row. Pixels that share the column share the part. */
fn placeOf(affine: Affine, x: i32, y: i32, column: f32) -> Place {
  let row = f32(y);
  let shift = vec2f(
    affine.linear.x * column + affine.linear.y * row + affine.part.x,
    affine.linear.z * column + affine.linear.w * row + affine.part.y,
  );
  let floors = floor(shift);
  return Place(vec2i(x, y) + affine.whole + vec2i(floors), shift - floors);
}

/** Word at which a row of a plane starts. */
fn rowAt(within: Set, plane: i32, y: i32) -> i32 {
  return (y - within.firstRow) * within.rowWords + plane * within.planeWords;
}

/** Byte of a frame's pixel, of three samples of `bits` each, in its binding; it lies in that word and the next one. */
fn frameByte(frame: Set, x: i32, y: i32, bits: i32) -> u32 {
  return u32(y) * frame.rowBytes + u32(x) * select(6u, 3u, bits == 8) - frame.startByte;
}

/** Samples of the pixel that starts at a byte of the first of two words: 0 to 255 or to 65535. */
fn samplesOf(first: u32, second: u32, byte: u32, bits: i32) -> vec3f {
  let shift = (byte & 3u) * 8u;
  let low = (first >> shift) | select(second << (32u - shift), 0u, shift == 0u);
  if (bits == 8) {
    return vec3f(f32(low & 0xffu), f32((low >> 8u) & 0xffu), f32((low >> 16u) & 0xffu));
  }
  return vec3f(f32(low & 0xffffu), f32(low >> 16u), f32((second >> shift) & 0xffffu));
}

/** Row of this thread. */
fn rowOf(band: Band, id: vec3u) -> i32 {
  return band.fromRow + i32(id.y);
}

/** Is there nothing for this thread to do? */
fn isOutside(band: Band, id: vec3u) -> bool {
  return i32(id.x) >= band.width || rowOf(band, id) >= band.toRow;
}

/** The 16-bit element of column x in its word. */
fn u16Of(word: u32, x: i32) -> u32 {
  return (word >> ((u32(x) & 1u) * 16u)) & 0xffffu;
}

/** The byte of column x in its word. */
fn u8Of(word: u32, x: i32) -> u32 {
  return (word >> ((u32(x) & 3u) * 8u)) & 0xffu;
}

/** Two 16-bit elements as a word: the even column's first. */
fn pairOf(even: u32, odd: u32) -> u32 {
  return (even & 0xffffu) | (odd << 16u);
}

/** Index mirrored about the first and the last element without repeating them: -1 -> 1, n -> n - 2. */
fn mirror(i: i32, n: i32) -> i32 {
  if (n == 1) {
    return 0;
  }
  let j = abs(i);
  return max(0, select(j, 2 * n - 2 - j, j >= n));
}

/** 2^x for 0 <= x < 100, by the polynomial of the processor's kernels: to 2e-6 of it. */
fn powerOfTwo(x: f32) -> f32 {
  let whole = i32(x);
  let t = x - f32(whole);
  let poly = 0.69314718 + t * (0.24021378 + t * (0.05562563 + t * (0.00925235 + t * 0.00175987)));
  return bitcast<f32>((whole + 127) << 23u) * (1.0 + t * poly);
}

/** Natural logarithm of a positive number, by the polynomial of the processor's kernels: to 1e-4. */
fn lnOf(x: f32) -> f32 {
  let bits = bitcast<i32>(x);
  let m = bitcast<f32>((bits & 0x007fffff) | 0x3f800000) - 1.0;
  let mantissa = m + m * (1.0 - m) * (0.43807325 + m * (-0.23669342 + m * 0.0803073));
  return 0.6931472 * (f32((bits >> 23u) - 127) + mantissa);
}

// The surface: see kernels/assembly/curve-state.ts and candidates.ts.

/** Depth index, frames, of a stored one. */
fn depthIndexAt(stored: u32, fractionBits: i32) -> f32 {
  return f32(stored) * bitcast<f32>((127 - fractionBits) << 23u) - indexOffset;
}

/** Stored depth index of one in frames. */
fn depthIndexCode(depthIndex: f32, fractionBits: i32) -> u32 {
  let stored = floor((depthIndex + indexOffset) * f32(1 << u32(fractionBits)) + 0.5);
  return u32(clamp(i32(stored), 1, maxStoredIndex));
}

/** Bit of the supports that marks a contested pixel. */
const contestedBit = 0x80000000u;

/** Support of a rise, 1/8 octave. */
fn supportOf(rise: i32) -> i32 {
  return clamp(((rise - i32(minPeakOctaves * codesPerOctave)) * supportSteps) >> 9u, 0, i32(maxSupport) * supportSteps);
}

/** Support of one of the three candidates. */
fn supportAt(supports: u32, candidate: i32) -> i32 {
  return i32((supports >> (u32(candidate) << 3u)) & 127u);
}

/** Confidence 1 where unknown depth indices are filled. */
const fullConfidence = 32768u;

/** Confidence of a weight; `fullWeight` 0: it is one already. */
fn confidenceOf(weight: u32, fullWeight: i32) -> u32 {
  if (fullWeight == 0) {
    return weight;
  }
  return min(fullConfidence, (weight << 15u) / u32(fullWeight));
}

// What the kernels of plan, spill and blend share.

/** Samples of a frame's pixel: 0 to 255 or to 65535. */
fn framePixel(pixels: ptr<storage, array<u32>, read>, frame: Set, x: i32, y: i32, bits: i32) -> vec3f {
  let byte = frameByte(frame, x, y, bits);
  let at = byte >> 2u;
  return samplesOf((*pixels)[at], (*pixels)[at + 1u], byte, bits);
}

/** Light of samples, 0..255 both, see kernels/assembly/light.ts. curve: its three coefficients. */
fn lightOf(samples: vec3f, curve: vec4f) -> vec3f {
  return samples * (curve.x + samples * (curve.y / 255.0 + samples * (curve.z / 65025.0)));
}

/** Samples of light, 0..255 both, to a hundredth of a sample; what lies outside is clamped. */
fn encodedOf(light: vec3f, curve: vec4f) -> vec3f {
  let x = clamp(light / 255.0, vec3f(0.0), vec3f(1.0));
  // First guess: c3 v^3 is taken for c3 sqrt(x) v^2, which leaves a quadratic equation.
  let square = curve.y + curve.z * sqrt(x);
  let v = (x + x) / (curve.x + sqrt(curve.x * curve.x + 4.0 * square * x));
  // A step of Newton's method.
  let slope = curve.x + v * (2.0 * curve.y + v * (3.0 * curve.z));
  let excess = v * (curve.x + v * (curve.y + v * curve.z)) - x;
  return 255.0 * (v - excess / slope);
}

/** First of the six pixels about a position, and the phase of their taps, of 512. */
struct Taps {
  first: i32,
  phase: i32,
}

fn tapsOf(cell: i32, part: f32) -> Taps {
  let phase = i32(part * 512.0 + 0.5);
  return Taps(cell + (phase >> 9u) - 2, phase & 511);
}

/** Pixel of the expansion of a coarser level: (1 6 1) / 8 at even, (1 1) / 2 at odd positions of both directions. */
fn expandedAt(coarse: ptr<storage, array<f32>, read>, within: Set, plane: i32, x: i32, y: i32) -> f32 {
  let i = x >> 1u;
  let j = y >> 1u;
  let before = mirror(i - 1, within.width);
  let after = mirror(i + 1, within.width);
  let here = rowAt(within, plane, j);
  let below = rowAt(within, plane, mirror(j + 1, within.height));
  var columns: vec3f;
  if ((y & 1) == 1) {
    columns = 0.5 * vec3f(
      (*coarse)[here + before] + (*coarse)[below + before],
      (*coarse)[here + i] + (*coarse)[below + i],
      (*coarse)[here + after] + (*coarse)[below + after],
    );
  } else {
    let above = rowAt(within, plane, mirror(j - 1, within.height));
    columns = 0.125 * vec3f(
      (*coarse)[above + before] + (*coarse)[below + before],
      (*coarse)[above + i] + (*coarse)[below + i],
      (*coarse)[above + after] + (*coarse)[below + after],
    ) + 0.75 * vec3f((*coarse)[here + before], (*coarse)[here + i], (*coarse)[here + after]);
  }
  let even = 0.125 * (columns.x + columns.z) + 0.75 * columns.y;
  return select(even, 0.5 * (columns.y + columns.z), (x & 1) == 1);
}

/**
 * Weight of a frame at a pixel, and the factor of its coefficient there: grown by what blur took, with that of the front
 * layer. See weightRow of kernels/assembly/blend.ts. reach: stored units.
 */
fn blendWeights(centre: i32, reach: i32, isNamed: bool, ordinal: i32, lost: f32, fractionBits: i32) -> vec2f {
  let distance = f32((ordinal << u32(fractionBits)) - centre);
  var weight = 0.0;
  if (abs(distance) < f32(reach)) {
    let t = distance / f32(reach);
    weight = 1.0 - t * t;
    weight *= weight;
  }
  var factor = weight;
  if (lost > 0.0 && reach <= clearReach >> u32(6 - fractionBits)) {
    let frames = distance / f32(1 << u32(fractionBits));
    factor += weight * min(maxRestored, lost * frames * frames);
  }
  if (isNamed) {
    factor += frontWeight;
  }
  return vec2f(weight, factor);
}

/**
 * The weights of a frame by a level's plan, see `blendWeights`; 0 where it does not reach. plan: centre, reach and perhaps
 * front layers. spans: columns that each frame reaches, see plan.wgsl.
 */
fn plannedWeights(
  plan: ptr<storage, array<u32>, read>,
  planSet: Set,
  spans: ptr<storage, array<u32>, read>,
  spanSet: Set,
  x: i32,
  y: i32,
  ordinal: i32,
  lost: f32,
  fractionBits: i32,
) -> vec2f {
  let span = rowAt(spanSet, 0, y) + 2 * ordinal;
  if (x < i32((*spans)[span]) || x >= i32((*spans)[span + 1])) {
    return vec2f();
  }
  let centre = i32(u16Of((*plan)[rowAt(planSet, 0, y) + (x >> 1u)], x));
  let packed = i32(u16Of((*plan)[rowAt(planSet, 1, y) + (x >> 1u)], x));
  var front = packed >> 6u;
  if (planSet.planes > 2) {
    front = i32(u16Of((*plan)[rowAt(planSet, 2, y) + (x >> 1u)], x));
  }
  let reach = (packed & 63) << u32(fractionBits - 4);
  return blendWeights(centre, reach, front == ordinal, ordinal, lost, fractionBits);
}

/** The two layers of a cell of spill while they are summed: light and share, and depth index times share. */
struct Layers {
  front: vec4f,
  rest: vec4f,
  frontDepth: f32,
  restDepth: f32,
}

/** Adds light whose last part is its share of a quarter of the cell. */
fn addLayer(layers: ptr<function, Layers>, light: vec4f, depth: i32, isFront: bool) {
  if (isFront) {
    (*layers).front += light;
    (*layers).frontDepth += light.w * f32(depth);
  } else {
    (*layers).rest += light;
    (*layers).restDepth += light.w * f32(depth);
  }
}

/** Light and share, 0..65535, as two words, cut to whole numbers. */
fn wordsOfLight(light: vec4f) -> vec2u {
  let whole = vec4u(clamp(light, vec4f(0.0), vec4f(65535.0)));
  return vec2u(pairOf(whole.x, whole.y), pairOf(whole.z, whole.w));
}

fn lightOfWords(first: u32, second: u32) -> vec4f {
  return vec4f(vec4u(first & 0xffffu, first >> 16u, second & 0xffffu, second >> 16u));
}

/** The words of a cell, see spill-cells.wgsl. */
fn cellOf(layers: Layers) -> array<u32, 5> {
  let front = wordsOfLight(0.25 * layers.front);
  let rest = wordsOfLight(0.25 * layers.rest);
  var depths = 0u;
  if (layers.front.w > 0.0) {
    depths = u32(layers.frontDepth / layers.front.w + 0.5);
  }
  if (layers.rest.w > 0.0) {
    depths = pairOf(depths, u32(layers.restDepth / layers.rest.w + 0.5));
  }
  return array<u32, 5>(front.x, front.y, rest.x, rest.y, depths);
}

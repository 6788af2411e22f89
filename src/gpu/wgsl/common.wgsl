// Shared by all kernels: `programs.ts` puts it after each, with the constants of the model.
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
  // A size of 32 bytes lets sets follow each other in the uniform buffer.
  unused0: i32,
  unused1: i32,
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

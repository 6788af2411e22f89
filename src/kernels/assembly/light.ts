// A lens adds light, not samples: samples follow about the square root of light, and the mean of a bright and a dark one is
// darker than the blur of both. So frames are reduced in light, and every level of the reduced picture is encoded again:
//
//   light(v) = v (c1 + v (c2 + v c3)),   v and light 0..1 of full range, c1 + c2 + c3 = 1
//
// The cubic is fitted to the transfer curve of the frames' profile (image/transfer-curve.ts).

/** Light of four samples, 0..255 both, by coefficients for that range, see `gainedCurve`. */
// @ts-ignore: decorator
@inline
export function lightOf(samples: v128, c1: v128, c2: v128, c3: v128): v128 {
  return v128.mul<f32>(samples, v128.add<f32>(c1, v128.mul<f32>(samples, v128.add<f32>(c2, v128.mul<f32>(samples, c3)))));
}

/**
 * Coefficient `power` of RGBx samples that a gain multiplies before they are decoded, 0..255 from the range of `bits`
 * (32: floats of 0..255).
 */
// @ts-ignore: decorator
@inline
export function gainedCurve(bits: i32, gainR: f32, gainG: f32, gainB: f32, coefficient: f32, power: i32): v128 {
  const unit: f32 = bits == 16 ? 1.0 / 257 : 1;
  const scale: f32 = coefficient / powerOf(255, power - 1);
  return f32x4(scale * powerOf(unit * gainR, power), scale * powerOf(unit * gainG, power), scale * powerOf(unit * gainB, power), 0);
}

// @ts-ignore: decorator
@inline
function powerOf(value: f32, power: i32): f32 {
  return power == 0 ? 1 : power == 1 ? value : power == 2 ? value * value : value * value * value;
}

/** Samples of four values of light, 0..255 both, to a hundredth of a sample; what lies outside is clamped. */
// @ts-ignore: decorator
@inline
function samplesOf(light: v128, c1: f32, c2: f32, c3: f32): v128 {
  const one = f32x4.splat(1);
  const x = v128.pmin<f32>(one, v128.pmax<f32>(f32x4.splat(0), v128.mul<f32>(light, f32x4.splat(1.0 / 255))));
  const linear = f32x4.splat(c1);
  // First guess: c3 v^3 is taken for c3 sqrt(x) v^2, which leaves a quadratic equation.
  const square = v128.add<f32>(f32x4.splat(c2), v128.mul<f32>(f32x4.splat(c3), v128.sqrt<f32>(x)));
  const root = v128.sqrt<f32>(v128.add<f32>(v128.mul<f32>(linear, linear), v128.mul<f32>(f32x4.splat(4), v128.mul<f32>(square, x))));
  const v = v128.div<f32>(v128.add<f32>(x, x), v128.add<f32>(linear, root));
  // A step of Newton's method.
  const slope = v128.add<f32>(linear, v128.mul<f32>(v, v128.add<f32>(f32x4.splat(2 * c2), v128.mul<f32>(v, f32x4.splat(3 * c3)))));
  const excess = v128.sub<f32>(lightOf(v, linear, f32x4.splat(c2), f32x4.splat(c3)), x);
  return v128.mul<f32>(f32x4.splat(255), v128.sub<f32>(v, v128.div<f32>(excess, slope)));
}

/** Columns from..to-1 of a row of light to samples, in place; multiples of four. */
// @ts-ignore: decorator
@inline
export function encodeRow(row: usize, from: i32, to: i32, curve1: f32, curve2: f32, curve3: f32): void {
  for (let x = from; x < to; x += 4) {
    const at = row + (isize(x) << 2);
    v128.store(at, samplesOf(v128.load(at), curve1, curve2, curve3));
  }
}

/** Three planes of light to samples, in place, row ends included: rows of one strip. */
export function encodeStrip(
  picture: usize, stride: i32, planeBytes: usize, width: i32, height: i32, curve1: f32, curve2: f32, curve3: f32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  for (let y = strip * stripRows; y < y1; y++) {
    for (let c = 0; c < 3; c++) {
      const row = picture + usize(c) * planeBytes + (usize(y * stride) << 2);
      encodeRow(row, -8, width + 8, curve1, curve2, curve3);
    }
  }
}

/** Light of pixel x of a row of interleaved RGB samples of 8 or 16 bits. */
// @ts-ignore: decorator
@inline
export function pixelLight(row: usize, bits: i32, x: i32, c1: v128, c2: v128, c3: v128): v128 {
  const q = bits == 8
    ? i8x16.swizzle(v128.load32_zero(row + usize(x) * 3), i8x16(0, -1, -1, -1, 1, -1, -1, -1, 2, -1, -1, -1, -1, -1, -1, -1))
    : v128.extend_low<u16>(v128.load64_zero(row + usize(x) * 6));
  return lightOf(v128.convert<i32>(q), c1, c2, c3);
}

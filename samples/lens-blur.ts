/**
 * Blurs a picture, (height, width, 3), by a Gaussian of standard deviation `sigma` px, in place: what a lens that
 * resolves no more makes of what is in focus. Border pixels are repeated.
 *
 * The Airy pattern is close to a Gaussian of 0.42 wavelength x f-number (B. Zhang et al., Applied Optics 46(10), 2007:
 * 0.21 wavelength / NA), 1.1 px at the usual settings.
 */
export function blurByLens(linear: Float32Array, width: number, height: number, sigma: number): void {
  const reach = Math.ceil(4 * sigma);
  const bell = Array.from({ length: 2 * reach + 1 }, (_, i) =>
    Math.exp(-((i - reach) ** 2) / (2 * sigma ** 2)),
  );
  const sum = bell.reduce((all, value) => all + value, 0);
  const taps = bell.map((value) => value / sum);
  blurLines(linear, taps, width, 3, height, 3 * width);
  blurLines(linear, taps, height, 3 * width, width, 3);
}

/** Convolves `lines` lines of `length` pixels, `pitch` samples from pixel to pixel and `next` from line to line. */
function blurLines(
  linear: Float32Array,
  taps: readonly number[],
  length: number,
  pitch: number,
  lines: number,
  next: number,
): void {
  const reach = (taps.length - 1) / 2;
  const line = new Float64Array(length + 2 * reach);
  for (let n = 0; n < lines; n++) {
    for (let channel = 0; channel < 3; channel++) {
      const start = n * next + channel;
      for (let i = 0; i < line.length; i++) {
        line[i] = linear[start + Math.min(length - 1, Math.max(0, i - reach)) * pitch];
      }
      for (let i = 0; i < length; i++) {
        let value = 0;
        for (let j = 0; j < taps.length; j++) value += taps[j] * line[i + j];
        linear[start + i * pitch] = value;
      }
    }
  }
}

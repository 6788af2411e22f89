/** 11-tap Gaussian, sigma 1.5, of unit sum: the window of the SSIM paper. */
const window11 = gaussianTaps(5, 1.5);
const c1 = (0.01 * 255) ** 2;
const c2 = (0.03 * 255) ** 2;

/**
 * Structural similarity of each pixel: 11x11 Gaussian window of sigma 1.5, K1 = 0.01, K2 = 0.03, L = 255,
 * no downsampling (Wang, Bovik, Sheikh & Simoncelli 2004, doi 10.1109/TIP.2003.819861).
 * Both lumas have shape (rows, cols) on the 8-bit scale. Borders repeat the edge pixel, so the outer
 * 5 pixels differ from the paper's valid region. Returns shape (rows, cols), -1 to 1.
 */
export function ssimMap(
  resultLuma: Float32Array,
  truthLuma: Float32Array,
  width: number,
  height: number,
): Float32Array {
  const count = width * height;
  const product = new Float32Array(count);
  const scratch = new Float32Array(count);
  const mean1 = blur11(resultLuma, scratch, new Float32Array(count), width, height);
  const mean2 = blur11(truthLuma, scratch, new Float32Array(count), width, height);
  // The formula needs only the sum of the two variances.
  for (let i = 0; i < count; i++) product[i] = resultLuma[i] * resultLuma[i] + truthLuma[i] * truthLuma[i];
  const squares = blur11(product, scratch, new Float32Array(count), width, height);
  for (let i = 0; i < count; i++) product[i] = resultLuma[i] * truthLuma[i];
  const cross = blur11(product, scratch, product, width, height);
  for (let i = 0; i < count; i++) {
    const m12 = mean1[i] * mean2[i];
    const mSquares = mean1[i] * mean1[i] + mean2[i] * mean2[i];
    squares[i] =
      ((2 * m12 + c1) * (2 * (cross[i] - m12) + c2)) / ((mSquares + c1) * (squares[i] - mSquares + c2));
  }
  return squares;
}

function gaussianTaps(radius: number, sigma: number): number[] {
  const taps = Array.from({ length: 2 * radius + 1 }, (_, i) =>
    Math.exp(-((i - radius) ** 2) / (2 * sigma ** 2)),
  );
  const sum = taps.reduce((total, tap) => total + tap, 0);
  return taps.map((tap) => tap / sum);
}

/** Separable blur with the 11-tap window; `out` may be `source`. Returns `out`. */
function blur11(
  source: Float32Array,
  scratch: Float32Array,
  out: Float32Array,
  width: number,
  height: number,
): Float32Array {
  const [k5, k4, k3, k2, k1, k0] = window11;
  const padded = new Float32Array(width + 10);
  for (let y = 0; y < height; y++) {
    const row = y * width;
    padded.fill(source[row], 0, 5);
    padded.set(source.subarray(row, row + width), 5);
    padded.fill(source[row + width - 1], width + 5);
    for (let x = 0; x < width; x++) {
      scratch[row + x] =
        k5 * (padded[x] + padded[x + 10]) +
        k4 * (padded[x + 1] + padded[x + 9]) +
        k3 * (padded[x + 2] + padded[x + 8]) +
        k2 * (padded[x + 3] + padded[x + 7]) +
        k1 * (padded[x + 4] + padded[x + 6]) +
        k0 * padded[x + 5];
    }
  }
  const rowAt = (y: number) => Math.min(Math.max(y, 0), height - 1) * width;
  for (let y = 0; y < height; y++) {
    const row = y * width;
    const [u5, u4, u3, u2, u1] = [y - 5, y - 4, y - 3, y - 2, y - 1].map(rowAt);
    const [d1, d2, d3, d4, d5] = [y + 1, y + 2, y + 3, y + 4, y + 5].map(rowAt);
    for (let x = 0; x < width; x++) {
      out[row + x] =
        k5 * (scratch[u5 + x] + scratch[d5 + x]) +
        k4 * (scratch[u4 + x] + scratch[d4 + x]) +
        k3 * (scratch[u3 + x] + scratch[d3 + x]) +
        k2 * (scratch[u2 + x] + scratch[d2 + x]) +
        k1 * (scratch[u1 + x] + scratch[d1 + x]) +
        k0 * scratch[row + x];
    }
  }
  return out;
}

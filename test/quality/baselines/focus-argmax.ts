import type { Plane } from './pyramid.js';

/** Taps of a Gaussian of sigma 2.5 px cut at 7 px, unit sum. */
const smoothing = gaussianTaps(7, 2.5);

/**
 * Depth as the frame of the largest focus measure: sum-modified Laplacian with a reach of 1 px
 * (Nayar & Nakagawa 1994), smoothed by a Gaussian of sigma 2.5 px. Keeps the measure of the frames before and
 * after the best one for a Gaussian peak through the logarithms of the three.
 */
export class FocusArgmax {
  private readonly best: Float32Array;
  private readonly before: Float32Array;
  private readonly after: Float32Array;
  private readonly index: Uint16Array;
  private previous: Float32Array;
  private count = 0;

  constructor(
    private readonly width: number,
    private readonly height: number,
  ) {
    const count = width * height;
    this.best = new Float32Array(count).fill(-1);
    this.before = new Float32Array(count);
    this.after = new Float32Array(count);
    this.index = new Uint16Array(count);
    this.previous = new Float32Array(count);
  }

  /** Adds the next frame in capture order. */
  add(grey: Plane): void {
    const measure = smooth(modifiedLaplacian(grey), this.width, this.height);
    const { best, before, after, index, previous, count } = this;
    for (let i = 0; i < measure.length; i++) {
      if (measure[i] > best[i]) {
        best[i] = measure[i];
        before[i] = previous[i];
        after[i] = 0;
        index[i] = count;
      } else if (index[i] === count - 1) after[i] = measure[i];
    }
    this.previous = measure;
    this.count++;
  }

  /** Frame of the largest measure, from 0, shape (rows, cols). */
  whole(): Float32Array {
    return Float32Array.from(this.index);
  }

  /** The same with a fraction from the Gaussian peak, within half a frame. */
  interpolated(): Float32Array {
    const { best, before, after } = this;
    return this.whole().map((at, i) => {
      if (!(before[i] > 0 && after[i] > 0)) return at;
      const left = Math.log(before[i] / best[i]);
      const right = Math.log(after[i] / best[i]);
      const fraction = (left - right) / (2 * (left + right));
      return Number.isFinite(fraction) ? at + Math.min(0.5, Math.max(-0.5, fraction)) : at;
    });
  }
}

function modifiedLaplacian({ width, height, data }: Plane): Float32Array {
  const out = new Float32Array(data.length);
  for (let y = 0; y < height; y++) {
    const up = Math.abs(y - 1) * width;
    const row = y * width;
    const down = (y + 1 < height ? y + 1 : height - 2) * width;
    for (let x = 0; x < width; x++) {
      const twice = 2 * data[row + x];
      const left = data[row + Math.abs(x - 1)];
      const right = data[row + (x + 1 < width ? x + 1 : width - 2)];
      out[row + x] = Math.abs(twice - left - right) + Math.abs(twice - data[up + x] - data[down + x]);
    }
  }
  return out;
}

function gaussianTaps(radius: number, sigma: number): Float32Array {
  const taps = Float32Array.from({ length: radius + 1 }, (_, i) => Math.exp(-(i * i) / (2 * sigma * sigma)));
  const sum = taps.reduce((total, tap, i) => total + (i === 0 ? tap : 2 * tap), 0);
  return taps.map((tap) => tap / sum);
}

/** Separable blur by `smoothing`, borders repeated. */
function smooth(plane: Float32Array, width: number, height: number): Float32Array {
  const radius = smoothing.length - 1;
  const rows = new Float32Array(plane.length);
  const padded = new Float32Array(width + 2 * radius);
  for (let y = 0; y < height; y++) {
    const row = y * width;
    padded.fill(plane[row], 0, radius);
    padded.set(plane.subarray(row, row + width), radius);
    padded.fill(plane[row + width - 1], radius + width);
    for (let x = 0; x < width; x++) {
      let sum = smoothing[0] * padded[x + radius];
      for (let k = 1; k <= radius; k++)
        sum += smoothing[k] * (padded[x + radius - k] + padded[x + radius + k]);
      rows[row + x] = sum;
    }
  }
  const out = new Float32Array(plane.length);
  for (let y = 0; y < height; y++) {
    const row = y * width;
    for (let x = 0; x < width; x++) out[row + x] = smoothing[0] * rows[row + x];
    for (let k = 1; k <= radius; k++) {
      const up = Math.max(y - k, 0) * width;
      const down = Math.min(y + k, height - 1) * width;
      for (let x = 0; x < width; x++) out[row + x] += smoothing[k] * (rows[up + x] + rows[down + x]);
    }
  }
  return out;
}

import { median, sigmaPerMad } from '../image/median.js';
import { lightOfByte } from '../image/srgb.js';
import { minSample } from '../model/constants/model.js';
import {
  biweightLimit,
  encodingPower,
  maxLightGridSide,
  maxLightShare,
} from '../model/constants/register.js';
import type { CentredMotion } from './centred-motion.js';
import type { ReducedFrame } from './reduced-frame.js';
import { SymmetricBand } from './symmetric-band.js';

/**
 * Means over square blocks of a reduced frame, kept to compare light. Of linear light, since defocus spreads light
 * without changing its sum, whereas the mean of encoded values increases where contrast is blurred away.
 */
export interface LightGrid {
  width: number;
  height: number;
  channels: 1 | 3;
  /** Side of a block, full-size pixels. */
  pitchX: number;
  pitchY: number;
  /** (channels, height, width): mean linear light of each block as a share of full range, 0 to 1; NaN where it is clipped. */
  means: Float32Array;
}

/**
 * A measured ratio of light per channel: multiply the encoded values of frame `of` by exp(logRatio) to match frame
 * `to`.
 */
export interface LightLink {
  of: number;
  to: number;
  logRatio: number[];
  /** Standard error of each. */
  error: number[];
}

export function measureLight(frame: ReducedFrame): LightGrid {
  const { pixels, channels } = frame;
  const side = Math.max(2, Math.ceil(Math.max(frame.width, frame.height) / maxLightGridSide));
  const width = Math.floor(frame.width / side);
  const height = Math.floor(frame.height / side);
  const full = frame.bits === 16 ? 65535 : 255;
  const limit = maxLightShare * full;
  const shift = frame.bits - 8;
  // Every second pixel of every second row suffices for the mean of a large block.
  const sparse = side >= 8 ? 2 : 1;
  const perRow = Math.ceil(side / sparse);
  const means = new Float32Array(channels * width * height);
  const sums = new Float64Array(channels * width);
  const clipped = new Uint8Array(width);
  for (let by = 0; by < height; by++) {
    sums.fill(0);
    clipped.fill(0);
    let rows = 0;
    for (let y = by * side; y < (by + 1) * side; y += 2, rows++) {
      let p = y * frame.width * channels;
      for (let bx = 0; bx < width; bx++) {
        for (let c = 0; c < channels; c++) {
          let sum = 0;
          for (let i = p + c, end = p + side * channels; i < end; i += sparse * channels) {
            // Eight bits are finer than blocks need.
            sum += lightOfByte[pixels[i] >> shift];
            if (pixels[i] > limit) clipped[bx] = 1;
          }
          sums[c * width + bx] += sum;
        }
        p += side * channels;
      }
    }
    for (let c = 0; c < channels; c++) {
      for (let bx = 0; bx < width; bx++) {
        const mean = sums[c * width + bx] / (rows * perRow);
        means[(c * height + by) * width + bx] = clipped[bx] ? Number.NaN : mean;
      }
    }
  }
  return { width, height, channels, pitchX: side * frame.factorX, pitchY: side * frame.factorY, means };
}

/**
 * Ratio of light between two frames over their overlap: the factor g of  to = g * of  over blocks, by robust least
 * squares on the differences. Differences, not ratios, because defocus moves light between blocks without changing its
 * sum. `motion` maps `of` to `to`. Returns undefined when too few blocks can be compared.
 */
export function compareLight(
  of: LightGrid,
  to: LightGrid,
  motion: CentredMotion,
  fullSize: { width: number; height: number },
): Omit<LightLink, 'of' | 'to'> | undefined {
  const { width, height, channels, pitchX, pitchY } = of;
  const halfX = fullSize.width / 2;
  const halfY = fullSize.height / 2;
  const blocks = width * height;
  const source = new Float64Array(blocks);
  const target = new Float64Array(blocks);
  const logRatio: number[] = [];
  const error: number[] = [];
  for (let c = 0; c < channels; c++) {
    let count = 0;
    const plane = c * blocks;
    for (let by = 0; by < height; by++) {
      for (let bx = 0; bx < width; bx++) {
        const u = (bx + 0.5) * pitchX - halfX;
        const v = (by + 0.5) * pitchY - halfY;
        const x = (motion.a * u - motion.b * v + motion.x + halfX) / pitchX - 0.5;
        const y = (motion.b * u + motion.a * v + motion.y + halfY) / pitchY - 0.5;
        const left = Math.floor(x);
        const top = Math.floor(y);
        if (left < 0 || top < 0 || left + 1 >= width || top + 1 >= height) continue;
        const i = plane + top * width + left;
        const s = x - left;
        const t = y - top;
        const value =
          (1 - t) * ((1 - s) * to.means[i] + s * to.means[i + 1]) +
          t * ((1 - s) * to.means[i + width] + s * to.means[i + width + 1]);
        const own = of.means[plane + by * width + bx];
        // NaN from a clipped block fails the comparison.
        if (!(value + own > 0)) continue;
        source[count] = own;
        target[count++] = value;
      }
    }
    if (count < minSample) return undefined;
    const fit = robustRatio(source.subarray(0, count), target.subarray(0, count));
    logRatio.push((1 / encodingPower) * Math.log(fit.ratio));
    error.push((1 / encodingPower) * fit.error);
  }
  return { logRatio, error };
}

function robustRatio(source: Float64Array, target: Float64Array): { ratio: number; error: number } {
  const sum = (values: Float64Array) => values.reduce((total, value) => total + value, 0);
  let ratio = sum(target) / sum(source);
  const count = source.length;
  let error = 1;
  for (let round = 0; round < 6; round++) {
    const sigma = sigmaPerMad * median(source.map((s, i) => Math.abs(target[i] - ratio * s))) + 1e-7;
    let cross = 0;
    let power = 0;
    let kept = 0;
    for (let i = 0; i < count; i++) {
      const t = (target[i] - ratio * source[i]) / (biweightLimit * sigma);
      if (t <= -1 || t >= 1) continue;
      const w = (1 - t * t) ** 2;
      // Weighted by 1, not by the source: sum(target) / sum(source) of what is kept.
      cross += w * target[i];
      power += w * source[i];
      kept += w;
    }
    ratio = cross / power;
    error = (sigma * Math.sqrt(kept)) / power;
  }
  return { ratio, error };
}

/**
 * Gain of every frame, per channel, that brings it to the anchor's light: least squares over all links of the
 * logarithms. Frames without a link keep 1.
 */
export function solveLight(
  links: readonly LightLink[],
  frameCount: number,
  anchor: number,
  channels: number,
): number[][] {
  const gains = Array.from({ length: frameCount }, () => new Array<number>(channels).fill(1));
  const span = links.reduce((most, { of, to }) => Math.max(most, Math.abs(of - to)), 1);
  for (let c = 0; c < channels; c++) {
    const normal = new SymmetricBand(frameCount, span);
    const right = new Float64Array(frameCount);
    for (const { of, to, logRatio, error } of links) {
      const w = 1 / error[c] ** 2;
      // log gain_of - log gain_to = logRatio
      normal.add(of, of, w);
      normal.add(to, to, w);
      normal.add(Math.max(of, to), Math.min(of, to), -w);
      right[of] += w * logRatio[c];
      right[to] -= w * logRatio[c];
    }
    for (let k = 0; k < frameCount; k++) normal.add(k, k, k === anchor ? 1e12 : 1e-3);
    const solved = normal.solve(right);
    if (solved) for (let k = 0; k < frameCount; k++) gains[k][c] = Math.exp(solved[k]);
  }
  return gains;
}

import { sigmaPerMad } from '../image/median.js';
import { lightOfByte } from '../image/srgb.js';
import { bytesOf, pieceKernels } from '../kernels/piece-kernels.js';
import { minSample } from '../model/constants/model.js';
import {
  biweightLimit,
  encodingPower,
  maxLightGridSide,
  maxLightShare,
  ratioRounds,
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
  pitch: number;
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
  // Every second pixel of every second row suffices for the mean of a large block.
  const sparse = side >= 8 ? 2 : 1;
  const means = new Float32Array(channels * width * height);
  const kernels = pieceKernels();
  const rowOfBlocks = side * frame.width * channels;
  const [samples, table, out] = kernels.take(
    rowOfBlocks * pixels.BYTES_PER_ELEMENT,
    [Float64Array, lightOfByte.length],
    [Float32Array, channels * width],
  );
  table.set(lightOfByte);
  const bytes = bytesOf(pixels);
  for (let by = 0; by < height; by++) {
    samples.set(bytes.subarray(by * samples.length, (by + 1) * samples.length));
    kernels.blockLight({
      ...{ samples, bits: frame.bits, channels, width: frame.width },
      ...{ columns: width, side, sparse, limit, table, out },
    });
    for (let c = 0; c < channels; c++) {
      means.set(out.subarray(c * width, (c + 1) * width), (c * height + by) * width);
    }
  }
  return { width, height, channels, pitch: side * frame.factor, means };
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
  const { width, height, channels, pitch } = of;
  const blocks = width * height;
  const kernels = pieceKernels();
  const singles = [Float32Array, blocks] as const;
  const doubles = [Float64Array, blocks] as const;
  const rooms = kernels.take(singles, singles, doubles, doubles, doubles, [Float64Array, 2]);
  const [one, other, source, target, scratch, out] = rooms;
  const logRatio: number[] = [];
  const error: number[] = [];
  for (let c = 0; c < channels; c++) {
    const plane = ({ means }: LightGrid) => means.subarray(c * blocks, (c + 1) * blocks);
    one.set(plane(of));
    other.set(plane(to));
    const count = kernels.lightPairs({
      ...{ one, other, width, height, pitch, source, target },
      ...{ halfX: fullSize.width / 2, halfY: fullSize.height / 2 },
      ...{ a: motion.a, b: motion.b, moveX: motion.x, moveY: motion.y },
    });
    if (count < minSample) return undefined;
    kernels.robustRatio({
      ...{ source, target, count, scratch, out, sigmaPerMad, rounds: ratioRounds },
      ...{ limit: biweightLimit, minSigma: 1e-7 },
    });
    logRatio.push((1 / encodingPower) * Math.log(out[0]));
    error.push((1 / encodingPower) * out[1]);
  }
  return { logRatio, error };
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
      // log gain_of - log gain_to = logRatio
      normal.addDifference(to, of, logRatio[c], 1 / error[c] ** 2, right);
    }
    for (let k = 0; k < frameCount; k++) normal.add(k, k, k === anchor ? 1e12 : 1e-3);
    const solved = normal.solve(right);
    if (solved) for (let k = 0; k < frameCount; k++) gains[k][c] = Math.exp(solved[k]);
  }
  return gains;
}

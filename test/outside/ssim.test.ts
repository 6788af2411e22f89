import fc from 'fast-check';
import ndarray from 'ndarray';
import ops from 'ndarray-ops';
import { ssim } from 'ssim.js';
import { describe, expect, it } from 'vitest';
import { partOf, viewOf } from '../../src/image/view.js';
import { maskedAverage, pixelErrors } from '../quality/metrics/errors.js';
import { edgeField, edgePreservation, FusionQuality } from '../quality/metrics/fusion-quality.js';
import { ssimMap } from '../quality/metrics/ssim.js';
import { seededRandom } from './seeded-random.js';

const width = 64;
const height = 48;

/** A wavy luma with noise, whole numbers 0 to 255, shape (height, width). */
function wavyLuma(seed: number, noise: number): Float32Array {
  const random = seededRandom(seed);
  return Float32Array.from({ length: width * height }, (_, i) => {
    const wave = 120 + 80 * Math.sin((i % width) / 5) * Math.cos(Math.floor(i / width) / 7);
    return Math.min(255, Math.max(0, Math.round(wave + noise * (random() - 0.5))));
  });
}

function toImageData(luma: Float32Array) {
  const data = new Uint8ClampedArray(luma.length * 4).fill(255);
  for (const [i, value] of luma.entries()) data.fill(value, 4 * i, 4 * i + 3);
  return { width, height, data };
}

describe('SSIM', () => {
  it.each([0, 4, 30, 120])('equals ssim.js pixel by pixel over its valid region (noise %i)', (noise) => {
    const truth = wavyLuma(1, 0);
    const result = wavyLuma(2, noise);
    const ours = ssimMap(result, truth, width, height);
    const published = ssim(toImageData(result), toImageData(truth), {
      ssim: 'original',
      downsample: false,
      rgb2grayVersion: 'integer',
    });
    const { width: columns, height: rows, data } = published.ssim_map;
    expect([columns, rows]).toEqual([width - 10, height - 10]);
    const inner = { x: 5, y: 5, width: columns, height: rows };
    const mask = new Uint8Array(width * height);
    ops.assigns(partOf(viewOf(mask, { width, height }), inner), 1);
    expect(maskedAverage(ours, mask)).toBeCloseTo(published.mssim, 5);
    const interior = partOf(viewOf(ours, { width, height }), inner);
    ops.subeq(interior, ndarray([...data], [rows, columns]));
    expect(ops.norminf(interior)).toBeLessThan(1e-4);
  });

  it('is 1 for equal pictures and falls with noise', () => {
    const truth = wavyLuma(1, 0);
    const mean = (noise: number) => {
      const map = ssimMap(wavyLuma(3, noise), truth, width, height);
      return map.reduce((sum, value) => sum + value, 0) / map.length;
    };
    expect(mean(0)).toBeCloseTo(1, 6);
    expect(mean(10)).toBeLessThan(0.999);
    expect(mean(60)).toBeLessThan(mean(10));
  });
});

describe('pixel errors', () => {
  const everywhere = new Uint8Array(width * height).fill(1);
  const far = new Float32Array(width * height).fill(100);
  const raster = (value: (i: number) => number) => ({
    width,
    height,
    rgb: Uint16Array.from({ length: width * height * 3 }, (_, i) => value(i)),
  });

  it.each([1, 5, 20])('PSNR of a uniform difference of %i is 20 log10(255 / difference)', (difference) => {
    const figures = pixelErrors(
      raster(() => (100 + difference) * 257),
      raster(() => 100 * 257),
      everywhere,
      far,
    );
    expect(figures.psnrDb).toBeCloseTo(20 * Math.log10(255 / difference), 9);
    expect(figures.zoneMeans[2]).toBeCloseTo(difference, 9);
    expect(figures.colourShift[1]).toBeCloseTo(difference, 9);
  });

  it('PSNR and zone means equal their definitions, summed naively', () => {
    const random = seededRandom(7);
    const result = raster(() => Math.floor(random() * 65536));
    const truth = raster(() => Math.floor(random() * 65536));
    const mask = everywhere.map(() => (random() < 0.7 ? 1 : 0));
    const distance = far.map(() => random() * 60);
    const judged = [...mask.keys()].filter((i) => mask[i] === 1);
    const error = (i: number) => [0, 1, 2].map((c) => (result.rgb[3 * i + c] - truth.rgb[3 * i + c]) / 257);
    const mean = (values: number[]) => values.reduce((sum, value) => sum + value, 0) / values.length;
    const figures = pixelErrors(result, truth, mask, distance);
    const mse = mean(judged.flatMap((i) => error(i).map((value) => value ** 2)));
    expect(figures.psnrDb).toBeCloseTo(10 * Math.log10(255 ** 2 / mse), 9);
    const zone = (from: number, to: number) =>
      mean(
        judged.filter((i) => distance[i] > from && distance[i] <= to).flatMap((i) => error(i).map(Math.abs)),
      );
    expect(figures.zoneMeans[0]).toBeCloseTo(zone(-1, 6), 9);
    expect(figures.zoneMeans[1]).toBeCloseTo(zone(6, 30), 9);
    expect(figures.zoneMeans[2]).toBeCloseTo(zone(30, 100), 9);
  });
});

describe('Q_AB/F', () => {
  const everywhere = new Uint8Array(width * height).fill(1);
  // Xydeas & Petrović's constants with ratio 1 and alignment 1: the most the figure can reach.
  const most = (0.9994 / (1 + Math.exp(-7.5))) * (0.9879 / (1 + Math.exp(-4.4)));

  it('reads the edges of a slope by Sobel, zeros outside', () => {
    const slope = Float32Array.from({ length: 25 }, (_, i) => 3 * (i % 5) + 2 * Math.floor(i / 5) + 1);
    const { strength, angle } = edgeField(slope, 5, 5);
    // Sobel's weights add up to 8 px of slope.
    expect(strength[12]).toBeCloseTo(Math.hypot(8 * 3, 8 * 2), 4);
    expect(angle[12]).toBeCloseTo(Math.atan(2 / 3), 6);
    // Upper left corner, values 1 4 / 3 6: gx = 2 * 4 + 6, gy = 2 * 3 + 6.
    expect(strength[0]).toBeCloseTo(Math.hypot(14, 12), 4);
  });

  it('of a picture equal to one source is the largest value when the other source has no edges', () => {
    const source = wavyLuma(1, 20);
    const quality = new FusionQuality(source, everywhere, width, height);
    quality.addSource(edgeField(source, width, height));
    quality.addSource(edgeField(new Float32Array(width * height), width, height));
    expect(most).toBeCloseTo(0.97479, 4);
    // The empty source still weighs 1e-5 a pixel.
    expect(quality.value()).toBeCloseTo(most, 6);
  });

  it('of a picture without edges is next to nothing', () => {
    const quality = new FusionQuality(new Float32Array(width * height), everywhere, width, height);
    quality.addSource(edgeField(wavyLuma(1, 20), width, height));
    expect(quality.value()).toBeLessThan(0.001);
  });

  it('falls with the contrast of the merged picture as the strength sigmoid says', () => {
    const source = wavyLuma(1, 20);
    const faded = source.map((value) => value / 2);
    const quality = new FusionQuality(faded, everywhere, width, height);
    quality.addSource(edgeField(source, width, height));
    expect(quality.value()).toBeCloseTo((0.9994 / 2) * (0.9879 / (1 + Math.exp(-4.4))), 4);
  });

  it('grows with strength ratio and with alignment', () => {
    const share = () => fc.double({ min: 0, max: 1, noNaN: true });
    fc.assert(
      fc.property(share(), share(), share(), (first, second, other) => {
        const [low, high] = first < second ? [first, second] : [second, first];
        expect(edgePreservation(high, other)).toBeGreaterThanOrEqual(edgePreservation(low, other));
        expect(edgePreservation(other, high)).toBeGreaterThanOrEqual(edgePreservation(other, low));
      }),
    );
  });
});

import { describe, expect, it } from 'vitest';
import { createRandom } from '../../samples/random.js';
import type { PixelData } from '../../src/image/image.js';
import { minBurntLevel } from '../../src/model/constants/model.js';
import {
  burntColumns,
  differencePx,
  maxBlockedLevel,
  rowSkipMinPixels,
} from '../../src/model/constants/rail.js';
import { readFrame } from '../../src/rail/read-frame.js';
import type { DecodedFrame } from '../../src/stack/decode.js';
import { measureDetail } from '../rail/measure-detail.js';
import { clippedOf, detailOf, encodedLuma, spotLight } from './reading-twin.js';

/** A picture of noise with clipped and blocked parts. */
function pictureOf(width: number, height: number, channels: 1 | 3, bits: 8 | 16): DecodedFrame {
  const random = createRandom(width + channels + bits, 'picture');
  const full = 2 ** bits - 1;
  const samples = Array.from({ length: width * height * channels }, (_, i) => {
    const x = Math.floor(i / channels) % width;
    const around = x < 40 ? 0 : x > width - 30 ? full : full / 2;
    return Math.max(0, Math.min(full, Math.round(around + (full / 6) * random.normal())));
  });
  const pixels = bits === 8 ? Uint8Array.from(samples) : Uint16Array.from(samples);
  return { pixels, width, height, channels, bits, shrink: 2 };
}

/** Index of the first sample in which two pictures differ; -1 for none. */
function firstDifference(found: PixelData, expected: PixelData): number {
  return found.length === expected.length ? found.findIndex((sample, i) => sample !== expected[i]) : 0;
}

describe('a frame by itself', () => {
  it.each([
    [203, 117, 3, 8, 1],
    [203, 118, 3, 16, 2],
    [163, 75, 1, 8, 2],
    [163, 75, 1, 16, 4],
    [83, 61, 3, 8, 8],
    [1103, 641, 1, 8, 2],
  ] as const)(
    'is read as its plain twins read it: %i x %i, %i channels of %i bits, planes 1 / %i',
    (width, height, channels, bits, boxes) => {
      const picture = pictureOf(width, height, channels, bits);
      const read = readFrame(7, picture, { planeShrink: boxes, brightness: true, broadSpacingPx: 16 });
      const luma = encodedLuma(picture);

      const brightness = Uint8Array.from(luma, (value) => Math.floor(value + 0.5));
      expect(firstDifference(read.brightness!, brightness)).toBe(-1);
      const { detail, burntPercent, blockedPercent, cutPercent, burntSpot } = read.measurements;
      for (const [grid, cell, spacing] of [
        [detail, detail.cellPx, differencePx],
        [read.broadGrid!, 64, 16],
      ] as const) {
        const { energy, light, ...layout } = detailOf(luma, picture, cell, spacing);
        expect(grid).toMatchObject(layout);
        // Of 8 bits all sums are exact.
        const digits = bits === 8 ? 0 : 1e-6;
        for (const [found, expected] of [
          [grid.energy, energy],
          [grid.light, light],
        ] as const) {
          const off = found.map((value, i) => Math.abs(value - Math.fround(expected[i])) / (expected[i] + 1));
          expect(found.length).toBe(expected.length);
          expect(Math.max(...off)).toBeLessThanOrEqual(digits);
        }
      }

      const unit = bits === 16 ? 257 : 1;
      const { counts, cells } = clippedOf(picture, minBurntLevel * unit, maxBlockedLevel * unit);
      const all = width * Math.ceil(height / (width * height >= rowSkipMinPixels ? 2 : 1));
      const percent = counts.map((count) => (100 * count) / all);
      expect([blockedPercent, ...cutPercent]).toEqual(percent);
      expect(burntPercent).toBe((100 * cells.reduce((sum, value) => sum + value)) / all);
      const fullest = cells.indexOf(Math.max(...cells));
      expect(burntSpot!.x).toBe(Math.round((((fullest % burntColumns) + 0.5) / burntColumns) * 2 * width));

      const plane = spotLight(luma, picture, boxes);
      expect(read.plane!.length).toBe(plane.length);
      const step = read.plane!.reduce((most, value, i) => Math.max(most, Math.abs(value - plane[i])), 0);
      // The table rounds what lies between its entries, and a mean of 16 bits half-way between two may be taken for either.
      expect(step).toBeLessThan(bits === 8 ? 1e-6 : 1 / 64 / 12);
    },
  );

  it('has zeros where a cell has no pixels as far inside as its differences', () => {
    const { energy, light } = measureDetail(new Float32Array(16).fill(9), 4, 4, 2, 2);
    expect([...energy, ...light].every((value) => value === 0)).toBe(true);
  });
});

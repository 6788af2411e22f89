import sharp from 'sharp';
import { expect, test } from 'vitest';
import { depthColour } from '../../src/result/report/depth-colours.js';

const steps = 21;

/** The ramp in CIELAB as another implementation sees it, one [L, a, b] a step. */
async function rampLab(): Promise<number[][]> {
  const rgb = Buffer.from(Array.from({ length: steps }, (_, i) => depthColour(i / (steps - 1))).flat());
  const bytes = await sharp(rgb, { raw: { width: steps, height: 1, channels: 3 } })
    .toColourspace('lab')
    .raw({ depth: 'float' })
    .toBuffer();
  const lab = new Float32Array(bytes.buffer, bytes.byteOffset, steps * 3);
  return Array.from({ length: steps }, (_, i) => [...lab.subarray(i * 3, i * 3 + 3)]);
}

test('equal steps of depth are equal steps of lightness and of colour, within the rounding of 8 bits', async () => {
  const lab = await rampLab();
  for (let i = 1; i < steps; i++) {
    const [lightness, greenRed, blueYellow] = lab[i].map((value, axis) => value - lab[i - 1][axis]);
    expect(Math.abs(lightness - 70 / (steps - 1))).toBeLessThan(0.6);
    expect(Math.abs(greenRed + 22 / (steps - 1))).toBeLessThan(1.5);
    expect(Math.abs(blueYellow - 108 / (steps - 1))).toBeLessThan(1.5);
  }
});

test('values beyond the ends take the colours of the ends', () => {
  expect(depthColour(-1)).toEqual(depthColour(0));
  expect(depthColour(2)).toEqual(depthColour(1));
});

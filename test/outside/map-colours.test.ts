import sharp from 'sharp';
import { expect, test } from 'vitest';
import { depthColour } from '../../src/image/map-colours.js';

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

// Machado, Oliveira & Fernandes, "A physiologically-based model for simulation of color vision deficiency", IEEE TVCG
// 15(6), 2009: severity 1, linear RGB. Matrices from memory; rows sum to 1.
test.each([
  [
    'protanopia',
    [0.152286, 1.052583, -0.204868, 0.114503, 0.786281, 0.099216, -0.003882, -0.048116, 1.051998],
  ],
  [
    'deuteranopia',
    [0.367322, 0.860646, -0.227968, 0.280085, 0.672501, 0.047413, -0.01182, 0.04294, 0.968881],
  ],
  ['tritanopia', [1.255528, -0.076749, -0.178779, -0.078411, 0.930809, 0.147602, 0.004733, 0.691367, 0.3039]],
])('with %s lightness rises all the way, nowhere at less than a third of its mean rate', (_, matrix) => {
  const lightness = Array.from({ length: 33 }, (_, i) => {
    const rgb = depthColour(i / 32).map((byte) => {
      const c = byte / 255;
      return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
    });
    const [r, g, b] = [0, 1, 2].map((row) =>
      Math.min(
        1,
        Math.max(
          0,
          rgb.reduce((sum, value, j) => sum + matrix[3 * row + j] * value, 0),
        ),
      ),
    );
    return 116 * Math.cbrt(0.2126 * r + 0.7152 * g + 0.0722 * b) - 16;
  });
  const mean = (lightness[32] - lightness[0]) / 32;
  expect(mean).toBeGreaterThan(1.9);
  for (let i = 1; i < 33; i++) expect(lightness[i] - lightness[i - 1]).toBeGreaterThan(mean / 3);
});

test('values beyond the ends take the colours of the ends', () => {
  expect(depthColour(-1)).toEqual(depthColour(0));
  expect(depthColour(2)).toEqual(depthColour(1));
});

import { expect, it } from 'vitest';
import { blurByLens } from '../../samples/lens-blur.js';

const [width, height] = [31, 25];

it.each([0.6, 1.1, 2])('a point becomes a bell of the same light and of standard deviation %f', (sigma) => {
  const picture = new Float32Array(width * height * 3);
  for (const channel of [0, 1, 2]) picture[(12 * width + 15) * 3 + channel] = 1 + channel;
  blurByLens(picture, width, height, sigma);
  for (const channel of [0, 1, 2]) {
    let [sum, xx, yy, xy] = [0, 0, 0, 0];
    for (let y = 0; y < height; y++) {
      for (let x = 0; x < width; x++) {
        const value = picture[(y * width + x) * 3 + channel];
        sum += value;
        xx += value * (x - 15) ** 2;
        yy += value * (y - 12) ** 2;
        xy += value * (x - 15) * (y - 12);
      }
    }
    expect(sum).toBeCloseTo(1 + channel, 5);
    // A bell sampled pixel by pixel has its variance to 2.4 % from 0.6 px on (Poisson's sum).
    expect(Math.abs(xx / sum / sigma ** 2 - 1)).toBeLessThan(0.025);
    expect(Math.abs(yy / sum / sigma ** 2 - 1)).toBeLessThan(0.025);
    expect(Math.abs(xy / sum)).toBeLessThan(1e-6);
  }
});

it('leaves an even picture as it is, borders too', () => {
  const picture = new Float32Array(width * height * 3).fill(0.4);
  blurByLens(picture, width, height, 1.5);
  for (const value of picture) expect(value).toBeCloseTo(0.4, 6);
});

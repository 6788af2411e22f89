import { expect, it } from 'vitest';
import { createRandom } from '../../samples/random.js';
import { similarityMatrix } from '../../src/image/transform.js';
import { spotRadii } from '../../src/model/constants/rail.js';
import { measureResponses, type SpotComparison, type WarpedPlane } from '../../src/rail/spot-responses.js';

const size = { width: 71, height: 53 };

/** ln own - (ln first + ln second) / 2 at a pixel, planes read by bilinear interpolation; plain twin of `subtractWarped`. */
function residualAt({ own, others }: SpotComparison, x: number, y: number): number {
  const here = own.light[y * size.width + x];
  const read = ({ plane, m, startX, startY }: WarpedPlane) => {
    const u = startX + m[0] * x + m[1] * y;
    const v = startY + m[3] * x + m[4] * y;
    const [column, row] = [Math.floor(u), Math.floor(v)];
    if (column < 0 || row < 0 || column + 1 >= size.width || row + 1 >= size.height) return here;
    const at = (dx: number, dy: number) => plane[(row + dy) * size.width + column + dx];
    const [s, t] = [u - column, v - row];
    return (1 - t) * ((1 - s) * at(0, 0) + s * at(1, 0)) + t * ((1 - s) * at(0, 1) + s * at(1, 1));
  };
  return here - (read(others[0]) + read(others[1])) / 2;
}

/** The response to a spot; plain twin of `addSpotResponses`. */
function responseAt(
  residual: (x: number, y: number) => number,
  x: number,
  y: number,
  radius: number,
): number {
  const sums = [0, 0];
  const counts = [0, 0];
  for (let dy = -3 * radius; dy <= 3 * radius; dy++) {
    for (let dx = -3 * radius; dx <= 3 * radius; dx++) {
      const ring = Math.max(Math.abs(dx), Math.abs(dy)) > radius ? 1 : 0;
      sums[ring] += residual(x + dx, y + dy);
      counts[ring]++;
    }
  }
  return sums[0] / counts[0] - sums[1] / counts[1];
}

it('responses are those of the plain twin, and number by number the same in bands of rows', () => {
  const random = createRandom(5, 'planes');
  const plane = () => Float32Array.from({ length: size.width * size.height }, () => random.between(2.5, 5.5));
  const warped = (): WarpedPlane => ({
    plane: plane(),
    m: similarityMatrix({ scale: 1.004, rollRad: 0.01, shiftXPx: 0, shiftYPx: 0 }, size.width, size.height),
    startX: random.between(-4, 4),
    startY: random.between(-4, 4),
  });
  const comparisons = [1, 2].map(() => ({ own: { light: plane() }, others: [warped(), warped()] }));
  const whole = measureResponses(comparisons, size, 0, size.height);
  expect(whole.map(({ radius }) => radius)).toEqual(spotRadii);
  for (const { radius, mean, squares } of whole) {
    let most = 0;
    for (let i = 0; i < mean.length; i += 7) {
      const [x, y] = [i % size.width, Math.floor(i / size.width)];
      const outer = 3 * radius;
      const isInside = x >= outer && y >= outer && x < size.width - outer && y < size.height - outer;
      const responses = comparisons.map((comparison) =>
        isInside ? responseAt((u, v) => residualAt(comparison, u, v), x, y, radius) : 0,
      );
      most = Math.max(
        most,
        Math.abs(mean[i] - (responses[0] + responses[1]) / 2),
        Math.abs(squares[i] - responses[0] ** 2 - responses[1] ** 2),
      );
    }
    expect(most).toBeLessThan(2e-6);
  }
  for (const [from, to] of [
    [0, 9],
    [9, 30],
    [30, size.height],
  ]) {
    for (const [i, { top, mean, squares }] of measureResponses(comparisons, size, from, to).entries()) {
      const start = top * size.width;
      expect(mean).toEqual(whole[i].mean.slice(start, start + mean.length));
      expect(squares).toEqual(whole[i].squares.slice(start, start + mean.length));
    }
  }
});

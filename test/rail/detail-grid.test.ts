import { describe, expect, test } from 'vitest';
import { similarityMatrix } from '../../src/image/transform.js';
import { minCellPx } from '../../src/model/constants/rail.js';
import { cellSide } from '../../src/rail/detail-grid.js';
import { followTiles } from '../../src/rail/tile-curves.js';
import { measureDetail } from './measure-detail.js';

const width = 128;
const height = 96;

function picture(value: (x: number, y: number) => number): Float32Array {
  return Float32Array.from({ length: width * height }, (_, i) => value(i % width, Math.floor(i / width)));
}

/** Second difference of A cos(2 pi f x) over s pixels: A (2 - 2 cos(2 pi f s)) cos(2 pi f x), by the addition theorem. */
function expected(amplitude: number, frequency: number): number {
  return (amplitude * (2 - 2 * Math.cos(4 * Math.PI * frequency))) ** 2 / 2;
}

describe('detail', () => {
  test.each([1 / 16, 1 / 8, 1 / 4])('of stripes with %f cycles a pixel is that of a cosine', (frequency) => {
    const stripes = picture((x) => 100 + 5 * Math.cos(2 * Math.PI * frequency * x));
    const { energy, columns, rows } = measureDetail(stripes, width, height, 16);
    expect([columns, rows]).toEqual([8, 6]);
    // A cell inside, so that whole periods are met.
    const at = (2 * columns + 3) * 4;
    expect(energy[at]).toBeCloseTo(expected(5, frequency), 2);
    expect(energy[at + 1]).toBeCloseTo(0, 6);
  });

  test('along a diagonal lies on the other one', () => {
    const stripes = picture((x, y) => 100 + 5 * Math.cos((2 * Math.PI * (x + y)) / 8));
    const { energy, columns } = measureDetail(stripes, width, height, 16);
    const at = (2 * columns + 3) * 4;
    // Along falling diagonals x + y runs twice as fast; along rising ones it stands.
    expect(energy[at + 2]).toBeCloseTo(expected(5, 1 / 4), 2);
    expect(energy[at + 3]).toBeCloseTo(0, 6);
  });

  test('of an even picture is none, and brightness does not matter', () => {
    const { energy } = measureDetail(
      picture(() => 200),
      width,
      height,
      16,
    );
    expect(Math.max(...energy)).toBe(0);
  });

  test('cells keep a least size and grow with the picture', () => {
    expect(cellSide(64 * 64)).toBe(minCellPx);
    expect(cellSide(1500 * 1000)).toBeGreaterThan(minCellPx);
  });
});

describe('tiles', () => {
  const bump = (atX: number, atY: number) =>
    picture((x, y) => (Math.hypot(x - atX, y - atY) < 12 ? 100 + 40 * Math.cos(x * 1.6) : 100));

  test('follow the subject through a shift', () => {
    const grids = [bump(40, 40), bump(72, 56)].map((luma) => measureDetail(luma, width, height, 16));
    const shift = { scale: 1, rollRad: 0, shiftXPx: -32, shiftYPx: -16 };
    const still = { scale: 1, rollRad: 0, shiftXPx: 0, shiftYPx: 0 };
    const curves = followTiles(
      [
        { grid: grids[0], matrix: similarityMatrix(still, width, height) },
        { grid: grids[1], matrix: similarityMatrix(shift, width, height) },
      ],
      { width, height },
      1,
    );
    // The tile of 16 px that holds the middle of the bump.
    const tile = 2 * curves.columns + 2;
    const [first, second] = [0, 1].map((k) => curves.energy[(tile * 2 + k) * 4]);
    expect(first).toBeGreaterThan(100);
    expect(second / first).toBeCloseTo(1, 1);
  });

  test("are unknown outside a frame's bounds and in a frame that is not aligned", () => {
    const grid = measureDetail(bump(40, 40), width, height, 16);
    const far = similarityMatrix({ scale: 1, rollRad: 0, shiftXPx: 64, shiftYPx: 0 }, width, height);
    const curves = followTiles(
      [
        { grid, matrix: far },
        { grid, matrix: undefined },
      ],
      { width, height },
      1,
    );
    expect(curves.energy[0]).toBeNaN();
    expect(curves.energy[4]).toBeNaN();
    expect(curves.energy[(curves.columns - 2) * 8]).not.toBeNaN();
  });
});

import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { applyMatrix, composeMatrices, invertMatrix, similarityMatrix } from '../../src/image/transform.js';

const width = 480;
const height = 360;

describe('matrices', () => {
  const similarity = fc.record({
    scale: fc.double({ min: 0.5, max: 2, noNaN: true }),
    rollRad: fc.double({ min: -3, max: 3, noNaN: true }),
    shiftXPx: fc.double({ min: -500, max: 500, noNaN: true }),
    shiftYPx: fc.double({ min: -500, max: 500, noNaN: true }),
  });
  const coordinate = fc.double({ min: -1000, max: 1000, noNaN: true });

  it('compose as one after the other, and invert back', () => {
    fc.assert(
      fc.property(similarity, similarity, coordinate, coordinate, (s, t, x, y) => {
        const first = similarityMatrix(s, width, height);
        const second = similarityMatrix(t, width, height);
        const both = applyMatrix(composeMatrices(second, first), x, y);
        const inTurn = applyMatrix(second, ...applyMatrix(first, x, y));
        expect(Math.hypot(both[0] - inTurn[0], both[1] - inTurn[1])).toBeLessThan(1e-7);
        const back = applyMatrix(invertMatrix(first), ...applyMatrix(first, x, y));
        expect(Math.hypot(back[0] - x, back[1] - y)).toBeLessThan(1e-7);
      }),
    );
  });

  it('refuse to invert what is singular', () => {
    expect(() => invertMatrix([1, 2, 0, 2, 4, 0, 0, 0, 1])).toThrow(/invertible/);
  });
});

import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  applyMatrix,
  composeMatrices,
  invertMatrix,
  type Similarity,
  similarityMatrix,
} from '../../src/image/transform.js';
import {
  composeMotions,
  invertMotion,
  similarityToMotion,
  transformOf,
} from '../../src/register/centred-motion.js';

const size = { width: 641, height: 480 };

const anySimilarity: fc.Arbitrary<Similarity> = fc.record({
  scale: fc.double({ min: 0.5, max: 2, noNaN: true }),
  rollRad: fc.double({ min: -3, max: 3, noNaN: true }),
  shiftXPx: fc.double({ min: -200, max: 200, noNaN: true }),
  shiftYPx: fc.double({ min: -200, max: 200, noNaN: true }),
});

function expectAlike(found: readonly number[], expected: readonly number[]) {
  found.forEach((value, i) => {
    expect(Math.abs(value - expected[i])).toBeLessThan(1e-8 * (1 + Math.abs(expected[i])));
  });
}

describe('motions about the centre', () => {
  it('are the matrices of their similarities', () => {
    fc.assert(
      fc.property(anySimilarity, (s) => {
        expectAlike(
          transformOf(similarityToMotion(s), size).matrix,
          similarityMatrix(s, size.width, size.height),
        );
        expectAlike(Object.values(transformOf(similarityToMotion(s), size).similarity), Object.values(s));
      }),
    );
  });

  it('compose as their matrices multiply', () => {
    fc.assert(
      fc.property(anySimilarity, anySimilarity, (first, second) => {
        const composed = composeMotions(similarityToMotion(second), similarityToMotion(first));
        const product = composeMatrices(
          similarityMatrix(second, size.width, size.height),
          similarityMatrix(first, size.width, size.height),
        );
        expectAlike(transformOf(composed, size).matrix, product);
      }),
    );
  });

  it('invert as their matrices invert, and carry every point back', () => {
    fc.assert(
      fc.property(anySimilarity, fc.nat(640), fc.nat(479), (s, x, y) => {
        const inverse = transformOf(invertMotion(similarityToMotion(s)), size).matrix;
        const matrix = similarityMatrix(s, size.width, size.height);
        expectAlike(inverse, invertMatrix(matrix));
        expectAlike(applyMatrix(inverse, ...applyMatrix(matrix, x, y)), [x, y]);
      }),
    );
  });

  it('refuse to invert a motion that shrinks everything to a point', () => {
    expect(() => invertMotion({ a: 0, b: 0, x: 1, y: 2 })).toThrow(/scale above 0/);
  });
});

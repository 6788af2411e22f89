import { describe, expect, it } from 'vitest';
import type { CentredMotion } from '../../src/register/centred-motion.js';
import { findDirection, railResiduals, seenFromAnchor } from '../../src/register/rail.js';

const radiusPx = 1000;
const distanceMm = 70;
const scaled = (a: number): CentredMotion => ({ a, b: 0, x: 3, y: -2 });

/** Scales that a chain of pairs gives: each pair by what lies between its two planes of focus. */
function chained(positionsMm: readonly number[], anchor: number): number[] {
  const scales = [1];
  for (let k = 1; k < positionsMm.length; k++) {
    const half = (positionsMm[k] - positionsMm[k - 1]) / 2 / distanceMm;
    scales.push((scales[k - 1] * (1 - half)) / (1 + half));
  }
  return scales.map((scale) => scale / scales[anchor]);
}

describe('a rail', () => {
  it('gives scales as seen from the anchor, not as a chain of pairs multiplies them', () => {
    const positionsMm = Array.from({ length: 200 }, (_, k) => 0.035 * (k - 100 + 0.2 * Math.sin(3 * k)));
    const offset = positionsMm[100];
    const chain = chained(positionsMm, 100);
    const expected = positionsMm.map((p) => distanceMm / (distanceMm + p - offset));
    const found = seenFromAnchor(chain.map(scaled), radiusPx).map((m) => (m as CentredMotion).a);
    const errorPx = (scales: readonly number[]) =>
      Math.max(...scales.map((scale, k) => radiusPx * Math.abs(scale - expected[k])));
    expect(errorPx(chain)).toBeGreaterThan(1);
    expect(errorPx(found)).toBeLessThan(0.01);
  });

  it('leaves a lens that breathes strongly as it was measured', () => {
    const motions = Array.from({ length: 20 }, (_, k) => scaled(1.008 ** (k - 10)));
    expect(seenFromAnchor(motions, radiusPx)).toEqual(motions);
  });

  it('keeps frames without a place without one', () => {
    expect(seenFromAnchor([scaled(1), undefined, scaled(0.999)], radiusPx)[1]).toBeUndefined();
  });

  it('tells the direction by the drift, and none without', () => {
    const rail = Array.from({ length: 12 }, (_, k) => scaled(1 / (1 + 5e-4 * (k + 0.2 * Math.sin(5 * k)))));
    expect(findDirection(rail, radiusPx)).toBe('near-to-far');
    expect(findDirection(rail.toReversed(), radiusPx)).toBe('far-to-near');
    expect(
      findDirection(
        rail.map((_, k) => scaled(1 + 1e-5 * Math.sin(9 * k * k))),
        radiusPx,
      ),
    ).toBe('unknown');
    // Even steps of 0.015 px are what four small frames were held to, not what they show.
    expect(
      findDirection(
        [0, 1, 2, 3].map((k) => scaled(1 + 1e-4 * k)),
        150,
      ),
    ).toBe('unknown');
    expect(railResiduals(rail).steps.every((step) => Math.abs(step) < 0.5)).toBe(true);
  });
});

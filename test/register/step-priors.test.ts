import { describe, expect, it } from 'vitest';
import { type CentredMotion, composeMotions, invertMotion } from '../../src/register/centred-motion.js';
import { type PairLink, solveStack } from '../../src/register/solve-stack.js';
import { spreadOfSteps } from '../../src/register/step-priors.js';
import { normalRandom, seededRandom } from './textured-stack.js';

const radiusPx = 1000;
const anchor = 8;
/** Growth of an even step, px at the radius. */
const stepPx = 0.6;

/** Frame -> anchor motions of a rail with these steps, in usual ones. */
function rail(steps: readonly number[]): CentredMotion[] {
  let travel = 0;
  const scales = [0, ...steps].map((step) => {
    travel += step;
    return 1 / (1 + (travel * stepPx) / radiusPx);
  });
  return scales.map((a) => ({ a: a / scales[anchor], b: 0, x: 0, y: 0 }));
}

/** Pairs of neighbours and over one frame, each with its error of the scale, px, that it also claims. */
function pairs(
  motions: readonly CentredMotion[],
  errorPx: (from: number) => number,
  claimPx: number,
): PairLink[] {
  const links: PairLink[] = [];
  for (let to = 1; to < motions.length; to++) {
    for (let from = to - 1; from >= Math.max(0, to - 2); from--) {
      const information = new Float64Array(16);
      for (let i = 0; i < 4; i++) information[i * 5] = claimPx ** -2;
      const motion = composeMotions(invertMotion(motions[to]), motions[from]);
      motion.a += errorPx(from) / radiusPx;
      links.push({ from, to, motion, information });
    }
  }
  return links;
}

const solve = (links: readonly PairLink[], frameCount: number) =>
  solveStack(links, { frameCount, anchor, radiusPx, free: 'scale', minErrorPx: 0.01 }).motions;

function worstPx(found: readonly (CentredMotion | undefined)[], expected: readonly CentredMotion[]): number {
  return radiusPx * Math.max(...expected.map(({ a }, k) => Math.abs((found[k]?.a ?? 0) - a)));
}

const even = (count: number) => new Array<number>(count).fill(1);

describe('the spread of the steps', () => {
  const spreadOf = (steps: readonly number[], errorPx: (from: number) => number) => {
    const links = pairs(rail(steps), errorPx, 0.03);
    return spreadOfSteps(
      links,
      links.map(({ information }) => information),
      radiusPx,
    );
  };

  it('is small for an even rail though its pairs err by what changes slowly, and large for an uneven one', () => {
    for (let seed = 1; seed <= 20; seed++) {
      const random = seededRandom(seed);
      const noise = () => 0.01 * normalRandom(random);
      expect(spreadOf(even(39), (k) => 0.3 * Math.sin(k / 8) + noise())).toBeLessThan(0.09);
      const uneven = even(39).map(() => 1 + 0.4 * (random() - 0.5));
      expect(spreadOf(uneven, noise)).toBeGreaterThan(0.09);
    }
  });

  it('is the usual one for few pairs, and for a stack without any drift', () => {
    expect(spreadOf(even(8), () => 0)).toBe(0.15);
    expect(spreadOf(new Array<number>(39).fill(0), () => 0)).toBe(0.15);
  });

  it('fills in the scale of a run of unsure pairs on an even rail', () => {
    const motions = rail(even(39));
    const links = pairs(motions, (k) => (k > 28 ? 0.4 : 0), 0.03);
    for (const { from, information } of links) if (from > 28) information[0] = 1 / 0.4 ** 2;
    // Eleven steps, each off by 0.4 px.
    expect(worstPx(solve(links, 40), motions)).toBeLessThan(0.25);
  });
});

describe('a gap in the stack', () => {
  const steps = even(28).map((step, k) => (k === 20 ? 5 * step : step));
  const motions = rail(steps);

  it('keeps its several steps against the evenness of all others', () => {
    for (let seed = 1; seed <= 10; seed++) {
      const random = seededRandom(seed);
      const links = pairs(motions, () => 0.05 * normalRandom(random), 0.2);
      expect(worstPx(solve(links, motions.length), motions)).toBeLessThan(0.7);
    }
  });
});

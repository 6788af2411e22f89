import { describe, expect, test } from 'vitest';
import { createRandom } from '../../samples/random.js';
import { motionFindings } from '../../src/check/motion-findings.js';
import type { Similarity } from '../../src/image/transform.js';
import { stillMotion } from '../rail/still-motion.js';

const size = { width: 6000, height: 4000 };

interface Given {
  numbers?: readonly number[];
  similarityOf?: (k: number) => Partial<Similarity>;
  residualPx?: (k: number) => number;
  steps?: (k: number) => number;
  /** Part of the tiles that tell the steps. */
  tileShare?: number;
}

/** Verdicts on frames without a fault but what is given. */
function verdicts({ numbers, similarityOf, residualPx, steps, tileShare = 0.5 }: Given) {
  const own = numbers ?? Array.from({ length: 20 }, (_, k) => k + 1);
  const frames = own.map((number, k) => {
    const still = stillMotion(number);
    const similarity = { ...still.similarity, ...similarityOf?.(k) };
    return { ...still, similarity, residualPx: residualPx?.(k) ?? 0.3 };
  });
  const each = own.slice(1);
  const travel = {
    steps: each.map((_, k) => steps?.(k) ?? 1),
    positions: own.map((_, k) => k),
    tileShare: each.map(() => tileShare),
  };
  return motionFindings(frames, travel, new Set(), 0.8, size);
}

/** Each frame anywhere within some px of its place, as on a shaky bench. */
function jitter(seed: number, px: number): Similarity[] {
  const random = createRandom(seed, 'jitter');
  const draw = () => px * random.normal();
  return Array.from({ length: 20 }, () => ({
    scale: 1,
    rollRad: 0,
    shiftXPx: draw(),
    shiftYPx: draw(),
  }));
}

describe('a bump', () => {
  test.each([1, 2, 3, 4, 5, 6, 7, 8, 9, 10])('stands out of jitter, and jitter is none; seed %i', (seed) => {
    const shaky = jitter(seed, 20);
    expect(verdicts({ similarityOf: (k) => shaky[k] })).toEqual([]);
    const findings = verdicts({
      similarityOf: (k) => ({ ...shaky[k], shiftXPx: shaky[k].shiftXPx + (k >= 9 ? 200 : 0) }),
    });
    expect(findings).toMatchObject([{ kind: 'bump', rank: 'flaw', frames: [9, 10] }]);
  });

  test('is reported with the others in one finding', () => {
    const findings = verdicts({ similarityOf: (k) => ({ shiftXPx: k >= 14 ? 500 : k >= 9 ? 200 : 0 }) });
    expect(findings).toMatchObject([{ kind: 'bump', frames: [9, 10, 14, 15] }]);
    expect(findings[0].message).toContain(
      'between frames 9 and 10 by 200 px; between frames 14 and 15 by 300 px',
    );
  });

  test('by roll is reported, unless it is within the uncertainty of blurred frames', () => {
    const turned = (k: number) => ({ rollRad: k >= 15 ? 0.008 : 0 });
    expect(verdicts({ similarityOf: turned })).toMatchObject([{ kind: 'bump', frames: [15, 16] }]);
    expect(verdicts({ similarityOf: turned, residualPx: (k) => (k >= 14 ? 8 : 0.3) })).toEqual([]);
  });
});

describe('a long step', () => {
  test('is reported as missed, with advice', () => {
    const [findings] = verdicts({ steps: (k) => (k === 6 ? 2 : 1) });
    expect(findings).toMatchObject({ kind: 'missed-step', rank: 'spoils', frames: [7, 8] });
    expect(findings.advice).toBe('Add a frame between 7 and 8, or shoot from frame 7 on again.');
  });

  test('over a frame that is not there says which, and asks for it', () => {
    const [findings] = verdicts({ numbers: [1, 2, 3, 4, 6, 7, 8, 9, 10], steps: (k) => (k === 3 ? 1.9 : 1) });
    expect(findings.frames).toEqual([4, 6]);
    expect(findings.message).toContain('frame 5 is not there');
    expect(findings.advice).toContain('Put frame 5 back');
  });

  test('is reported with the others in one finding that names each pair', () => {
    const long = [3, 9, 15];
    const findings = verdicts({ steps: (k) => (long.includes(k) ? 2 : 1) });
    expect(findings).toMatchObject([{ kind: 'missed-step', rank: 'spoils', frames: [4, 5, 10, 11, 16, 17] }]);
    expect(findings[0].message).toMatch(
      /^3 times .*: from frame 4 to 5 about 2 times .*; from frame 10 to 11 .*; from frame 16 to 17 .*no frame\.$/,
    );
    expect(findings[0].advice).toBe(
      'Add a frame between 4 and 5; add a frame between 10 and 11; add a frame between 16 and 17. Or shoot from frame 4 on again.',
    );
  });

  test('is not reported where the steps are less accurate than that', () => {
    const wild = [1, 0.7, 1.3, 0.6, 1.6, 0.7, 1.4, 0.8, 1.3, 0.6];
    expect(verdicts({ steps: (k) => wild[k % wild.length] })).toEqual([]);
  });

  test('must be longer where a small subject alone shows it', () => {
    const steps = (length: number) => (k: number) => (k === 6 ? length : 1);
    expect(verdicts({ steps: steps(1.6), tileShare: 0.05 })).toEqual([]);
    expect(verdicts({ steps: steps(2), tileShare: 0.05 })).toHaveLength(1);
  });
});

test('a step that was not taken is named where the others scatter less than it falls short', () => {
  const wild = [1, 0.7, 1.3, 0.6, 1.6, 0.7, 1.4, 0.8, 1.3, 0.6];
  expect(verdicts({ steps: (k) => (k === 6 ? 0.1 : wild[k % wild.length]) })).toEqual([]);
  const named = verdicts({ steps: (k) => (k === 6 ? 0.1 : 1) });
  expect(named.map(({ kind, frames }) => [kind, frames])).toEqual([['step-not-taken', [7, 8]]]);
});

test('a step of the same length is missed whether the number of steps around it is odd or even', () => {
  const around = [0.73, 0.85, 1, 1, 1.54, 1.02, 0.98, 1.12, 0.88];
  for (const count of [7, 8, 9]) {
    const numbers = Array.from({ length: count + 1 }, (_, k) => k + 1);
    expect(verdicts({ numbers, steps: (k) => around[k] }).map(({ kind }) => kind)).toEqual(['missed-step']);
  }
});

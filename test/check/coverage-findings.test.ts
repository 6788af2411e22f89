import { describe, expect, test } from 'vitest';
import { type CoverageShares, coverageFindings } from '../../src/check/coverage-findings.js';
import { judgeRim } from '../../src/check/judge-merge.js';
import type { Finding } from '../../src/result/finding.js';

const covered: CoverageShares = {
  beforeFirst: 0,
  afterLast: 0,
  noDetail: 40,
  gapPercent: 0,
  gaps: [],
  firstNumber: 1,
  lastNumber: 20,
  direction: 'near-to-far',
};

describe('coverage', () => {
  test('without gaps gives no findings, small gaps neither', () => {
    expect(coverageFindings(covered)).toEqual([]);
    expect(coverageFindings({ ...covered, beforeFirst: 0.9, afterLast: 0.5 })).toEqual([]);
  });

  test.each([
    ['near-to-far', 'beforeFirst', 'too-short-in-front', 1],
    ['near-to-far', 'afterLast', 'too-short-behind', 20],
    ['far-to-near', 'beforeFirst', 'too-short-behind', 1],
    ['far-to-near', 'afterLast', 'too-short-in-front', 20],
  ] as const)('%s, %s: the stack is %s', (direction, end, kind, number) => {
    const found = coverageFindings({
      ...covered,
      direction,
      [end]: 7,
      missingBefore: 2.2,
      missingAfter: 2.2,
    });
    expect(found).toMatchObject([{ kind, rank: 'spoils', frames: [number] }]);
    expect(found[0].advice).toContain('at least 3 frames');
  });

  test('ten small gaps among forty frames are one finding with all pairs, as severe as they are together', () => {
    const wide = [2, 5, 9, 12, 16, 20, 24, 29, 33, 37];
    const findings = (percent: number) =>
      coverageFindings({
        ...covered,
        lastNumber: 40,
        gapPercent: wide.length * percent,
        gaps: wide.map((from) => ({ from, to: from + 1, percent })),
      });
    expect(findings(1)).toMatchObject([
      { kind: 'missed-step', rank: 'spoils', frames: wide.flatMap((from) => [from, from + 1]) },
    ]);
    expect(findings(1)[0].message).toMatch(
      /^10 % of the picture lies in 10 gaps between .*: between 2 and 3, 5 and 6, .*, 37 and 38\.$/,
    );
    expect(findings(1)[0].advice).toContain('a frame in each gap');
    expect(findings(0.15)).toMatchObject([{ kind: 'missed-step', rank: 'flaw' }]);
    expect(findings(0.05)).toEqual([]);
  });

  test('gaps at all steps of a long stack are the fault of the step, small as each of them is', () => {
    const gaps = Array.from({ length: 199 }, (_, i) => ({ from: i + 1, to: i + 2, percent: 0.2 }));
    const findings = coverageFindings({ ...covered, lastNumber: 200, gapPercent: 39.8, gaps });
    expect(findings).toMatchObject([{ kind: 'too-coarse-steps', rank: 'spoils', frames: [] }]);
  });

  test('a few gaps name the frames, gaps everywhere the step', () => {
    const gap = (from: number, percent: number) => ({ from, to: from + 1, percent });
    const one = coverageFindings({ ...covered, gapPercent: 3, gaps: [gap(4, 3)] });
    expect(one).toMatchObject([{ kind: 'missed-step', frames: [4, 5] }]);
    expect(one[0].message).toMatch(/^3 % of the picture lies between frames 4 and 5, .* sharp in neither\.$/);
    const few = coverageFindings({ ...covered, gapPercent: 6, gaps: [gap(4, 3), gap(9, 3)] });
    expect(few).toMatchObject([{ kind: 'missed-step', rank: 'spoils', frames: [4, 5, 9, 10] }]);
    expect(few[0].message).toContain('6 % of the picture lies in 2 gaps');
    const many = coverageFindings({
      ...covered,
      gapPercent: 30,
      gaps: Array.from({ length: 15 }, (_, i) => gap(i + 1, 2)),
      neededStepPart: 0.4,
      stepMm: 0.1,
    });
    expect(many).toMatchObject([{ kind: 'too-coarse-steps', rank: 'spoils', neededStepPart: 0.4 }]);
    expect(many[0].neededStepMm).toBeCloseTo(0.04, 9);
    expect(many[0].advice).toContain('0.04 mm instead of 0.1 mm');
  });
});

describe('the rim of a merged picture', () => {
  const known: Finding[] = [
    { kind: 'bump', rank: 'flaw', frames: [3, 4], message: 'Bumped.', advice: '' },
    { kind: 'step', rank: 'note', frames: [], message: 'Long enough.', advice: '' },
  ];

  test('is reported with advice where it is out of reach of sharp frames, unless the share is tiny', () => {
    expect(judgeRim(known, 0.05)).toEqual(known);
    expect(judgeRim(known, 0.4)[2]).toMatchObject({ kind: 'out-of-reach', rank: 'note' });
    const [, large] = judgeRim(known, 2.7);
    expect(large).toMatchObject({ kind: 'out-of-reach', rank: 'flaw' });
    expect(large.message).toMatch(/^2\.7 % of the picture, .* out of reach/);
    expect(large.advice).toContain('crop common');
  });
});

import { describe, expect, test } from 'vitest';
import { type CoverageShares, coverageFindings } from '../../src/check/coverage-findings.js';
import { resultCoverage } from '../../src/check/result-coverage.js';
import { verdicts } from '../../src/result/report/verdicts.js';
import { sampleFrame, sampleRecord } from '../result/sample-record.js';

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
  test('is told with what to do where the rim is out of reach of sharp frames, and not for a trace of it', () => {
    expect(coverageFindings({ ...covered, outOfReach: 0.05 })).toEqual([]);
    const [small] = coverageFindings({ ...covered, outOfReach: 0.4 });
    expect(small).toMatchObject({ kind: 'out-of-reach', rank: 'note' });
    const [large] = coverageFindings({ ...covered, outOfReach: 2.7 });
    expect(large).toMatchObject({ kind: 'out-of-reach', rank: 'flaw' });
    expect(large.message).toMatch(/^2\.7 % of the picture, .* out of reach/);
    expect(large.advice).toContain('crop common');
  });

  test('without holes has nothing to tell, small holes neither', () => {
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

  test('small gaps everywhere are not the fault of a step that the focus curves bridge', () => {
    const gaps = Array.from({ length: 15 }, (_, i) => ({ from: i + 1, to: i + 2, percent: 0.6, steps: 1 }));
    const told = (widthSteps: number, own = gaps) =>
      coverageFindings({ ...covered, gapPercent: 9, gaps: own, widthSteps });
    // Midway the fall is 1.5 ln(1 + (1 / (2 width))^2): an octave at a width of 0.654.
    expect(told(0.64)[0].message).toMatch(/^The steps are too coarse: 9 %/);
    expect(told(0.67)).toMatchObject([{ kind: 'too-coarse-steps', rank: 'flaw' }]);
    expect(told(0.67)[0].message).toMatch(/in small places here and there/);
    expect(told(0.67, [])[0].message).toMatch(/in small places here and there/);
    // A missed step is told among them.
    const missed = [...gaps, { from: 16, to: 17, percent: 3, steps: 2 }];
    expect(told(0.67, missed)).toMatchObject([{ kind: 'missed-step', frames: [16, 17] }]);
  });

  test('gaps at a few places name the frames, gaps everywhere the step', () => {
    const gap = (from: number, percent: number) => ({ from, to: from + 1, percent });
    const few = coverageFindings({ ...covered, gapPercent: 6, gaps: [gap(4, 3), gap(9, 3)] });
    expect(few.map(({ kind, frames }) => [kind, frames])).toEqual([
      ['missed-step', [4, 5]],
      ['missed-step', [9, 10]],
    ]);
    const apart = (steps: number) =>
      coverageFindings({ ...covered, gapPercent: 3, gaps: [{ ...gap(4, 3), steps }] })[0].message;
    expect(apart(1.93)).toContain('between frames 4 and 5, whose planes of focus are about 1.9 times as far');
    expect(apart(5.61)).toContain('about 5.6 times as far');
    // Bounds of what is measured and of what is told: it may be more.
    expect(apart(3)).toContain('at least 3 times as far');
    expect(apart(30)).toContain('at least 30 times as far');
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

describe('the maps of a merge', () => {
  // Four frames with planes at -1, 0, 1, 2; 7 x 5 pixels.
  const record = sampleRecord({ frames: [1, 2, 3, 4].map((number) => sampleFrame(number)) });
  const maps = { depth: new Float32Array(35).fill(0), coverage: new Uint8Array(35) };
  maps.coverage.fill(3, 0, 5);
  maps.depth.fill(1.4, 0, 5);
  maps.coverage.fill(2, 5, 12);
  maps.depth.fill(4.5, 5, 12);
  record.maps.coverage.classes[0].percent = (100 * 23) / 35;
  record.maps.coverage.classes[2].percent = 20;
  record.maps.coverage.classes[3].percent = (100 * 5) / 35;

  test('tell between which frames gaps lie and how far the subject goes on', () => {
    const shares = resultCoverage(record, [maps]);
    expect(shares).toMatchObject({ afterLast: 20, firstNumber: 1, lastNumber: 4, missingAfter: 2.5 });
    expect(shares.gaps).toEqual([{ from: 3, to: 4, percent: (100 * 5) / 35 }]);
  });

  test('say how far apart the frames beside a gap are, where the record does', () => {
    const frames = [1, 2, 3, 4].map((number) => sampleFrame(number, { travelSteps: number === 4 ? 3 : 1 }));
    const { gaps } = resultCoverage({ ...record, frames }, [maps]);
    expect(gaps).toMatchObject([{ from: 3, to: 4, steps: 3 }]);
  });

  test('are judged in the words of a check', () => {
    const shares = resultCoverage(record, [maps]);
    const said = verdicts(record, shares);
    for (const { message, advice } of coverageFindings(shares))
      expect(said).toContain(`${message} ${advice}`);
    expect(said.join(' ')).toContain('behind the plane of focus of the last frame (4)');
    expect(said.join(' ')).toContain('between frames 3 and 4');
  });

  test('of a stack shot the other way are read the other way', () => {
    const turned = sampleRecord({
      direction: 'far-to-near',
      frames: [1, 2, 3, 4].map((number) => sampleFrame(number, { depth: 2 - number })),
      maps: record.maps,
    });
    const shares = resultCoverage(turned, [{ ...maps, depth: maps.depth.map((depth) => -depth) }]);
    expect(shares.gaps).toEqual([{ from: 3, to: 4, percent: (100 * 5) / 35 }]);
  });
});

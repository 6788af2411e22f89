import { expect, test } from 'vitest';
import { resolveCheckOptions } from '../../src/check/check-options.js';
import { opticsFindings } from '../../src/check/optics-findings.js';
import { plan } from '../../src/plan/plan.js';

const bench = { magnification: 2, pixelPitchUm: 4 };

test('the step is compared with what a plan for the same optics says', () => {
  const planned = plan({
    magnification: 2,
    fNumber: 5.6,
    pixelPitchUm: 4,
    sensor: { widthMm: 24, heightMm: 16 },
    depthMm: 1,
  });
  if (planned.kind !== 'stack') throw new Error('Expected the plan of a stack');
  const options = resolveCheckOptions({ ...bench, stepMm: 2 * planned.depth.combined.totalMm });
  const [found] = opticsFindings(options, { fNumber: 5.6 });
  expect(found).toMatchObject({ kind: 'optics', rank: 'flaw' });
  expect(found.neededStepMm).toBeCloseTo(planned.step.recommendedMm, 9);
});

test('a step that the depth of field covers is only noted', () => {
  const options = resolveCheckOptions({ ...bench, stepMm: 0.01 });
  expect(opticsFindings(options, { fNumber: 5.6 })).toMatchObject([{ rank: 'note' }]);
});

test('nothing is reckoned from what is not known', () => {
  expect(opticsFindings(resolveCheckOptions(bench), {})).toEqual([]);
  expect(opticsFindings(resolveCheckOptions({ stepMm: 1 }), { fNumber: 5.6 })).toEqual([]);
});

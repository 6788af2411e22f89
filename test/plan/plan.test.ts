import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { UsageError } from '../../src/errors.js';
import { optionSpecs } from '../../src/options/option.js';
import { optionFlag } from '../../src/options/option-flag.js';
import type { LandscapePlan } from '../../src/plan/landscape-plan.js';
import { planOptionTable } from '../../src/plan/option-table.js';
import { plan } from '../../src/plan/plan.js';
import type { PlanOptions } from '../../src/plan/plan-options.js';
import { planText } from '../../src/plan/plan-text.js';
import type { StackPlan } from '../../src/plan/stack-plan.js';

const camera = { sensor: 'aps-c', pixels: { width: 6000, height: 4000 }, depthMm: 5 } as const;
const onTubes = { ...camera, focalLengthMm: 100, extensionMm: 68, fNumber: 8 } as const;
const objective = {
  ...{ sensor: 'full-frame', pixels: 24e6, depthMm: 0.4 },
  ...{ magnification: 10, numericalAperture: 0.25 },
} as const;
const scene = {
  ...{ landscape: true, sensor: 'full-frame', pixels: 24e6 },
  ...{ focalLengthMm: 24, fNumber: 8, nearM: 0.8 },
} as const;

const stack = (options: Partial<PlanOptions>) => plan(options) as StackPlan;
const landscape = (options: Partial<PlanOptions>) => plan(options) as LandscapePlan;

describe('a lens on tubes', () => {
  it('of 100 mm with 68 mm, focused at infinity, magnifies 0.68 times', () => {
    const { lens, fieldMm, distancesMm } = stack(onTubes);
    expect(lens.magnification).toBeCloseTo(0.68, 9);
    expect(fieldMm.width).toBeCloseTo(23.5 / 0.68, 9);
    expect(fieldMm.height).toBeCloseTo(15.6 / 0.68, 9);
    expect(lens.effectiveFNumber).toBeCloseTo(8 * 1.68, 9);
    expect(lens.lightLostStops).toBeCloseTo(2 * Math.log2(1.68), 9);
    // 1/f = 1/s + 1/v, and the sensor 168 mm behind the lens.
    expect(distancesMm?.image).toBeCloseTo(168, 9);
    expect(1 / (distancesMm?.working ?? 0)).toBeCloseTo(1 / 100 - 1 / 168, 9);
  });

  it('or measured by a ruler: the same plan', () => {
    const { extensionMm: _, ...without } = onTubes;
    const measured = stack({ ...without, fieldWidthMm: 23.5 / 0.68 });
    const computed = stack(onTubes);
    expect(measured.depth.combined.totalMm).toBeCloseTo(computed.depth.combined.totalMm, 9);
    expect(measured.frames).toBe(computed.frames);
  });

  it('with the f-number that the camera shows: the same plan as with the marked one', () => {
    const shown = stack({ ...onTubes, fNumber: 8 * 1.68, fNumberIs: 'effective' });
    expect(shown.lens.markedFNumber).toBeCloseTo(8, 9);
    expect(shown.step.mm).toBeCloseTo(stack(onTubes).step.mm, 9);
  });

  it('adds to the magnification of its own: 1:2 and 27.5 mm on 55 mm is 1:1 (manual of such a lens)', () => {
    const { lens } = stack({
      ...camera,
      focalLengthMm: 55,
      ownMagnification: 0.5,
      extensionMm: 27.5,
      fNumber: 8,
    });
    expect(lens.magnification).toBe(1);
    expect(lens.effectiveFNumber).toBe(16);
  });
});

describe('an objective', () => {
  it('of 10x and NA 0.25 has 8.8 µm of depth by waves (Murphy 2001, table 4-1) and no marked f-number', () => {
    const { lens, depth, distancesMm, sharpness } = stack(objective);
    expect(depth.wave.totalMm).toBeCloseTo(0.0088, 9);
    // c / (M NA), the second term of the makers' primers, with two pixels of 6 µm.
    expect(depth.geometric.totalMm).toBeCloseTo(0.012 / 2.5, 9);
    expect(depth.combined.totalMm).toBeCloseTo(0.0136, 9);
    expect(lens.effectiveFNumber).toBe(20);
    expect(lens.markedFNumber).toBeNull();
    expect(lens.lightLostStops).toBeNull();
    expect(distancesMm).toBeNull();
    expect(sharpness.limit).toBe('diffraction');
  });
});

describe('the circle of confusion', () => {
  const circle = (options: Partial<PlanOptions>) => stack({ ...onTubes, ...options }).circle.mm;
  it('is two pixels, or by convention, or as given', () => {
    expect(circle({})).toBeCloseTo((2 * 23.5) / 6000, 9);
    expect(circle({ circle: 'format' })).toBe(0.02);
    expect(circle({ circle: 'full-frame' })).toBe(0.03);
    expect(circle({ circle: 0.015 })).toBe(0.015);
    expect(circle({ circle: 'format', sensor: { widthMm: 30, heightMm: 40 } })).toBeCloseTo(50 / 1500, 9);
  });

  it('follows from pixels in any form', () => {
    expect(circle({ pixels: 24e6 })).toBeCloseTo(2 * Math.sqrt((23.5 * 15.6) / 24e6), 9);
    const { pixels: _, ...without } = onTubes;
    expect(stack({ ...without, pixelPitchUm: 4 }).circle.mm).toBeCloseTo(0.008, 9);
    expect(stack({ ...without, pixelPitchUm: 4 }).sensor.columns).toBe(5875);
  });

  it('leaves what is reckoned in pixels unknown without them', () => {
    const { pixels: _, ...without } = onTubes;
    const planned = stack({ ...without, circle: 0.02 });
    expect(planned.bestAperture).toBeNull();
    expect(planned.sharpness).toMatchObject({ airyPx: null, limit: null });
    expect(planned.effort.rawBytes).toBeNull();
    expect(planText(planned)).not.toContain('null');
  });
});

describe('step and frames', () => {
  it('at 1 x, f/5.6, c 0.020 and 30 % overlap are 0.3136 mm and 17 for 5 mm by rays alone (a published example)', () => {
    // Light of the shortest wavelength takes the waves out of the plan, as the example has none.
    const options = { ...camera, magnification: 1, fNumber: 5.6, circle: 0.02, wavelengthNm: 100 };
    const { step, depth, frames } = stack(options);
    expect(depth.geometric.totalMm).toBeCloseTo(0.448, 6);
    const byRays = stack({ ...options, stepMm: 0.7 * depth.geometric.totalMm });
    expect(byRays.frames).toBe(17);
    expect(step.mm).toBeCloseTo(0.7 * depth.combined.totalMm, 9);
    expect(frames).toBeLessThan(17);
  });

  it('that are asked for keep to what leaves no gap, or warn with the step that would', () => {
    const { step: usual } = stack(onTubes);
    const fine = stack({ ...onTubes, stepMm: usual.longestMm * 0.999 });
    expect(fine.step.gapMm).toBe(0);
    expect(fine.warnings).toEqual([]);
    const coarse = stack({ ...onTubes, stepMm: 2 });
    expect(coarse.step.gapMm).toBeCloseTo(2 - usual.longestMm, 9);
    expect(coarse.step.recommendedMm).toBeCloseTo(usual.mm, 9);
    expect(coarse.warnings[0]).toMatch(
      /A step of 2 mm leaves unsharp gaps of .* Take 0\.\d+ mm \(30 % overlap\)/,
    );
    expect(stack({ ...onTubes, stepMm: coarse.step.recommendedMm }).warnings).toEqual([]);
  });

  it('are finer at higher magnification, whatever else is chosen', () => {
    const given = fc.record({
      fNumber: fc.double({ min: 2, max: 22, noNaN: true }),
      pixelPitchUm: fc.double({ min: 2, max: 10, noNaN: true }),
      overlapPercent: fc.double({ min: 0, max: 80, noNaN: true }),
    });
    fc.assert(
      fc.property(given, fc.double({ min: 0.3, max: 3.5, noNaN: true }), (options, magnification) => {
        const at = (m: number) => stack({ sensor: 'aps-c', depthMm: 1, ...options, magnification: m });
        const low = at(magnification);
        const high = at(magnification * 1.1);
        expect(high.step.mm).toBeLessThan(low.step.mm);
        expect(high.frames).toBeGreaterThanOrEqual(low.frames);
        expect(high.fieldMm.width).toBeLessThan(low.fieldMm.width);
        expect(low.travelMm).toBeGreaterThanOrEqual(1 - 1e-6);
        expect(low.step.overlapPercent).toBeCloseTo(options.overlapPercent, 6);
      }),
      { numRuns: 50 },
    );
  });

  it('take time and disk space', () => {
    const { frames, effort } = stack({ ...onTubes, settleS: 3, exposureS: 0.5 });
    expect(effort.timeS).toBeCloseTo(3.5 * frames, 9);
    expect(effort.tiff16Bytes).toBe(frames * 24e6 * 6);
    expect(stack(onTubes).effort.timeS).toBeNull();
  });
});

describe('the best aperture', () => {
  it('makes the Airy disc two pixels at most, and a stop either way costs or saves frames', () => {
    const choices = stack(onTubes).bestAperture?.choices ?? [];
    expect(choices.map(({ name }) => name)).toEqual([
      'a stop wider',
      'best',
      'a stop narrower',
      'as planned',
    ]);
    const [wider, best, narrower, planned] = choices;
    // 24 MP on APS-C: f/5.8 effective, so f/3.5 on the lens at 0.68 x; the lens has f/3.2.
    expect([wider, best, narrower].map((choice) => choice.markedFNumber)).toEqual([2.2, 3.2, 4.5]);
    expect(best.airyPx).toBeLessThanOrEqual(2);
    expect(narrower.airyPx).toBeGreaterThan(2);
    expect(best.framesMore).toBe(0);
    expect(wider.framesMore).toBe(wider.frames - best.frames);
    expect(wider.framesMore).toBeGreaterThan(0);
    expect(narrower.framesMore).toBeLessThan(0);
    expect(planned.frames).toBe(stack(onTubes).frames);
  });

  it('is none that the lens has not: a macro lens of f/2.8 is not told to open further', () => {
    // Large pixels at life size: f/1.4 and less would do for the pixels alone.
    const options = { ...camera, magnification: 1, fNumber: 8, pixels: 60e6, widestFNumber: 2.8 };
    const free = stack({ ...options, widestFNumber: undefined } as never);
    expect(free.bestAperture?.choices.find(({ name }) => name === 'best')?.markedFNumber).toBeLessThan(2);
    expect(free.notes.join()).toMatch(/give widestFNumber/);
    const { bestAperture: best, notes } = stack(options);
    expect(best?.possible).toBe(false);
    expect(best?.choices.map(({ name, markedFNumber }) => [name, markedFNumber])).toEqual([
      ['best', 2.8],
      ['a stop narrower', 4],
      ['as planned', 8],
    ]);
    expect(best?.choices[0].framesMore).toBe(0);
    expect(notes.join()).not.toMatch(/widest/);
    expect(planText(stack(options))).toContain('The lens opens to f/2.8 and no further');
    // A best one within reach stays, without the wider neighbour that the lens has not.
    const within = stack({ ...onTubes, widestFNumber: 2.8 }).bestAperture;
    expect(within?.possible).toBe(true);
    expect(within?.choices.map(({ markedFNumber }) => markedFNumber)).toEqual([3.2, 4.5, 8]);
    expect(() => stack({ ...onTubes, fNumber: 2, widestFNumber: 2.8 })).toThrow(
      'Expected an aperture that the lens has, f/2.8 (widestFNumber) or narrower, for fNumber but received f/2',
    );
  });

  it('that no lens can have leaves the neighbours of the planned one', () => {
    const best = stack({ ...objective, magnification: 20, numericalAperture: 0.42, sensor: 'four-thirds' });
    expect(best.bestAperture?.possible).toBe(false);
    expect(best.bestAperture?.choices.map(({ name }) => name)).toEqual([
      'a stop wider',
      'as planned',
      'a stop narrower',
    ]);
    expect(planText(best)).toContain('No lens opens so wide');
  });
});

describe('whole marks of the knob', () => {
  /** The plan whose recommended step is so many marks. */
  const atMarks = (marks: number, overlapPercent = 30) => {
    const travelPerTurnMm = stack({ ...onTubes, overlapPercent }).step.mm / (marks / 20);
    return stack({ ...onTubes, overlapPercent, travelPerTurnMm, marksPerTurn: 20 });
  };
  const advised = (planned: StackPlan) =>
    / is (one|\d+) marks? a frame, ([\d.]+) % overlap/.exec(planned.notes.join('\n'))?.slice(1);

  it.each([
    // marks at 30 % overlap, marks advised, overlap left: 1 - 0.7 advised / marks (see `overlapOfStep`).
    [2.87, '3', 1 - (0.7 * 3) / 2.87],
    [2.4, '2', 1 - (0.7 * 2) / 2.4],
    [1.6, '2', 1 - (0.7 * 2) / 1.6],
    [1.3, 'one', 1 - 0.7 / 1.3],
    [0.8, 'one', 1 - 0.7 / 0.8],
  ])('%f at the recommended step: %s are advised, which still overlap', (marks, count, overlap) => {
    const [told, percent] = advised(atMarks(marks)) ?? [];
    expect(told).toBe(count);
    expect(Number(percent)).toBeCloseTo(100 * overlap, 0);
  });

  it('are not rounded up into a gap, nor advised where one alone leaves gaps or the step is whole', () => {
    expect(advised(atMarks(2.87, 2))?.[0]).toBe('2');
    expect(advised(atMarks(0.65))).toBeUndefined();
    expect(advised(atMarks(3))).toBeUndefined();
  });
});

describe('a landscape', () => {
  it('of 24 mm at f/8, c 0.030: hyperfocal at 2.42 m (f²/(N c) + f)', () => {
    const planned = landscape({ ...scene, circle: 'format' });
    expect(planned.hyperfocalM).toBeCloseTo(2.424, 9);
    // At the hyperfocal distance itself the horizon would be blurred by the whole circle.
    expect(planned.focus.at(-1)?.focusM).toBeGreaterThan(2.424 / 0.7);
    expect(planned.focus.at(-1)?.farM).toBeNull();
    expect(planned.focus[0].nearM).toBeLessThan(0.8);
    expect(planned.focus.map(({ frame }) => frame)).toEqual(planned.focus.map((_, k) => k + 1));
    for (let k = 1; k < planned.frames; k++) {
      expect(planned.focus[k].nearM).toBeLessThan(planned.focus[k - 1].farM ?? Infinity);
    }
  });

  it('with finer pixels or a wider aperture takes more frames', () => {
    const frames = landscape(scene).frames;
    expect(landscape({ ...scene, pixels: 96e6 }).frames).toBeGreaterThan(frames);
    expect(landscape({ ...scene, fNumber: 4 }).frames).toBeGreaterThan(frames);
    expect(landscape({ ...scene, farM: 3 }).frames).toBeLessThan(frames);
  });
});

describe('what cannot be is refused with the value and the reason', () => {
  const { fNumber: _n, ...noAperture } = onTubes;
  const { sensor: _s, ...noSensor } = onTubes;
  const { pixels: _p, ...noPixels } = onTubes;
  const { extensionMm: _e, ...atInfinity } = onTubes;
  it.each<[Partial<PlanOptions>, RegExp]>([
    [{ ...onTubes, fNumber: 0 }, /for fNumber but received 0: .*f\/0\.5/],
    [{ ...onTubes, fNumber: Number.NaN }, /for fNumber but received NaN/],
    [{ ...onTubes, extensionMm: -5 }, /for extensionMm but received -5: tubes can only/],
    [{ ...onTubes, focalLengthMm: -50 }, /for focalLengthMm but received -50/],
    [{ ...onTubes, depthMm: 0 }, /for depthMm but received 0/],
    [{ ...onTubes, overlapPercent: 100 }, /for overlapPercent but received 100/],
    [{ ...onTubes, wavelengthNm: 0 }, /for wavelengthNm but received 0/],
    [{ ...onTubes, pupilRatio: 0 }, /for pupilRatio but received 0/],
    [{ ...onTubes, sensor: { widthMm: 0, heightMm: 3 } }, /for sensor but received 0x3/],
    [{ ...onTubes, sensor: 'film' }, /full-frame.* for sensor but received film/],
    [{ ...onTubes, pixels: { width: 6000.5, height: 4000 } }, /for pixels but received/],
    [{ ...onTubes, numericalAperture: 0.1 }, /fNumber or numericalAperture but received both/],
    [{ ...onTubes, fieldWidthMm: 30 }, /extensionMm or fieldWidthMm but received both/],
    [{ ...onTubes, stepMm: 0.1, overlapPercent: 20 }, /stepMm or overlapPercent but received both/],
    [{ ...onTubes, marksPerTurn: 100 }, /Expected travelPerTurnMm/],
    [{ ...onTubes, nearM: 2 }, /Expected landscape beside nearM/],
    [{ ...onTubes, depthMm: 10_000, stepMm: 0.00001 }, /4000 frames at most/],
    [{ ...objective, numericalAperture: 1.3 }, /for numericalAperture but received 1\.3: in air/],
    [
      { ...objective, numericalAperture: undefined, fNumber: 2, fNumberIs: 'effective' } as never,
      /numerical aperture of 2\.50/,
    ],
    [noAperture, /Expected fNumber .* or numericalAperture/],
    [noSensor, /Expected sensor/],
    [noPixels, /Expected pixels .* or pixelPitchUm/],
    [atInfinity, /whose magnification is 0/],
    [
      { ...camera, magnification: 0.001, focalLengthMm: 50, fNumber: 32, circle: 0.03 },
      /depth of field reaches to infinity/,
    ],
    [{ ...scene, nearM: 0.02 }, /beyond the focal length of 0\.024 m for nearM but received 0\.02/],
    [
      { ...scene, nearM: 0.2, closestFocusM: 0.25 },
      /no nearer than the lens can focus for nearM but received 0\.2 m/,
    ],
    [{ ...scene, farM: 0.5 }, /beyond nearM 0\.8 for farM but received 0\.5/],
    [{ ...scene, extensionMm: 12 }, /Expected no extensionMm beside landscape/],
    [
      { ...scene, focalLengthMm: 8, fNumber: 64, circle: 0.2 },
      /circle of confusion smaller than the aperture/,
    ],
    [{ ...onTubes, colour: 1 } as never, /but received colour/],
  ])('%j', (options, message) => {
    expect(() => plan(options)).toThrow(UsageError);
    expect(() => plan(options)).toThrow(message);
  });

  it('unless it only looks odd: then a warning says so', () => {
    expect(stack({ ...onTubes, pixels: { width: 4000, height: 6000 } }).warnings[0]).toContain('not square');
    expect(stack({ ...onTubes, depthMm: 0.1 }).warnings[0]).toContain('no stack at all');
    expect(stack({ ...objective, travelPerTurnMm: 1, marksPerTurn: 50 }).warnings[0]).toContain('too little');
  });
});

describe('the text of a plan', () => {
  it('names every number with its formula, and no number is broken', () => {
    for (const text of [onTubes, objective, scene].map((options) => planText(plan(options)))) {
      expect(text).not.toMatch(/NaN|undefined|null|Infinity|e-\d/);
    }
    const text = planText(stack(onTubes));
    for (const label of ['Geometric', 'Wave-optical', 'Combined']) {
      expect(text).toMatch(new RegExp(`${label} +[\\d.]+ mm.* = `));
    }
  });
});

describe('the table of options', () => {
  it('gives each a flag of its own, and a reason where a range is refused', () => {
    const flags = optionSpecs(planOptionTable).map(([field, spec]) => optionFlag(field, spec));
    expect(new Set(flags).size).toBe(flags.length);
    for (const [field, { kind, reason }] of optionSpecs(planOptionTable)) {
      if (kind.isRangeInHelp && field !== 'pixelPitchUm') expect(reason, field).toMatch(/^\S.{10}/);
    }
  });
});

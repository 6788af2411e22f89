import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { apertureDrawing, apertureSentence } from '../../src/plan/aperture-drawing.js';
import { distanceDrawing, distanceSentence } from '../../src/plan/distance-drawing.js';
import type { LandscapePlan } from '../../src/plan/landscape-plan.js';
import { plan } from '../../src/plan/plan.js';
import type { PlanOptions } from '../../src/plan/plan-options.js';
import { closeUpDrawing, slabDrawing, slabSentence } from '../../src/plan/slab-drawing.js';
import type { StackPlan } from '../../src/plan/stack-plan.js';

const width = 640;
const stack = (options: Partial<PlanOptions>) =>
  plan({ sensor: 'aps-c', pixels: 24e6, magnification: 1, fNumber: 8, depthMm: 5, ...options }) as StackPlan;

/** Numbers of attributes of all elements of a class, in the order of the drawing. */
function attributes(svg: string, pattern: RegExp, ...names: string[]): number[][] {
  return [...svg.matchAll(pattern)].map(([tag]) =>
    names.map((name) => Number(new RegExp(` ${name}="([^"]+)"`).exec(tag)?.[1])),
  );
}

/** px per mm of the subject, from the labels of the axis. */
function scaleOf(svg: string): number {
  const labels = [...svg.matchAll(/class="axis" x1="([\d.]+)"[^>]*\/><text [^>]*>([\d.]+)( mm)?</g)];
  const [first, last] = [labels[0], labels[labels.length - 1]];
  return (Number(last[1]) - Number(first[1])) / (Number(last[2]) - Number(first[2]));
}

describe('the drawing of slabs', () => {
  it('is to scale: ticks a step apart on the ruler, slabs as thick as the depth of field', () => {
    const planned = stack({});
    const { text } = slabDrawing(planned, width);
    const scale = scaleOf(text);
    const path = /<path class="ticks" d="([^"]+)"/.exec(text)?.[1] ?? '';
    const ticks = [...path.matchAll(/M([\d.]+)/g)].map(([, x]) => Number(x));
    expect(ticks).toHaveLength(planned.frames);
    expect((ticks[1] - ticks[0]) / scale).toBeCloseTo(planned.step.mm, 2);
    expect((ticks[ticks.length - 1] - ticks[0]) / scale).toBeCloseTo(planned.travelMm, 2);
    const slabs = attributes(text, /<rect class="slab"[^>]*>/g, 'x', 'width');
    expect(slabs[1][1] / scale).toBeCloseTo(planned.depth.combined.totalMm, 2);
    // The close-up has another scale, and the same proportions.
    const edges = attributes(closeUpDrawing(planned, width).text, /<rect class="edge"[^>]*>/g, 'x', 'width');
    expect((edges[1][0] - edges[0][0]) / edges[0][1]).toBeCloseTo(
      planned.step.mm / planned.depth.combined.totalMm,
      3,
    );
  });

  it('marks gaps where the step leaves them, and says so', () => {
    const planned = stack({ stepMm: 2 });
    const { text } = closeUpDrawing(planned, width);
    expect(text).toContain('class="gap"');
    expect(text).not.toContain('class="overlap"');
    expect(slabSentence(planned)).toContain('that no frame shows sharp');
    expect(closeUpDrawing(stack({}), width).text).not.toContain('class="gap"');
  });

  it('stays within its width and small, for any plan', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 0.05, max: 20, noNaN: true }),
        fc.double({ min: 2.8, max: 22, noNaN: true }),
        fc.double({ min: 0.01, max: 12, noNaN: true }),
        fc.integer({ min: 300, max: 2400 }),
        (magnification, fNumber, depthMm, drawn) => {
          let planned: StackPlan;
          try {
            planned = stack({ magnification, fNumber, depthMm });
          } catch {
            return;
          }
          for (const { text } of [slabDrawing, closeUpDrawing, apertureDrawing].map((draw) =>
            draw(planned, drawn),
          )) {
            expect(text).not.toMatch(/NaN|Infinity|undefined|="-?\d+e/);
            for (const [x, wide] of attributes(text, /<rect [^>]*>/g, 'x', 'width')) {
              expect(x).toBeGreaterThan(-0.1);
              expect(x + wide).toBeLessThan(drawn + drawn / 10);
              expect(wide).toBeGreaterThanOrEqual(0);
            }
            expect(text.length).toBeLessThan(300_000);
          }
        },
      ),
      { numRuns: 60 },
    );
  });
});

describe('the drawing of distances', () => {
  const scene = {
    landscape: true,
    focalLengthMm: 24,
    fNumber: 8,
    sensor: 'full-frame',
    pixels: 24e6,
  } as const;
  const landscape = (options: Partial<PlanOptions>) => plan({ ...scene, ...options }) as LandscapePlan;

  /** x of 1/distance by the labels of the axis: one px more is so many 1/m less. */
  function rulerOf(svg: string): (x: number) => number {
    const labels = [...svg.matchAll(/<line class="axis" x1="([\d.]+)"[^>]*\/><text [^>]*>([\d.]+ m|∞)</g)];
    const [far, near] = [labels[0], labels[labels.length - 1]].map(([, x, text]) => ({
      x: Number(x),
      inverse: text === '∞' ? 0 : 1 / Number.parseFloat(text),
    }));
    return (x) => far.inverse + ((x - far.x) * (near.inverse - far.inverse)) / (near.x - far.x);
  }

  it('is to scale of 1/distance: each frame from where it is sharp to where it ends, its overlap with the next', () => {
    const planned = landscape({ nearM: 0.8, farM: 'infinity' });
    const { text } = distanceDrawing(planned, width);
    const inverseAt = rulerOf(text);
    const zones = attributes(text, /<rect class="slab"[^>]*>/g, 'x', 'width');
    const ends = planned.focus.map(({ nearM, farM }) => [1 / nearM, farM === null ? 0 : 1 / farM]);
    for (const [i, [x, wide]] of zones.entries()) {
      expect(inverseAt(x)).toBeCloseTo(ends[i][0], 3);
      expect(inverseAt(x + wide)).toBeCloseTo(ends[i][1], 3);
    }
    const shared = attributes(text, /<rect class="overlap"[^>]*>/g, 'x', 'width');
    expect(shared).toHaveLength(planned.frames - 1);
    for (const [i, [x, wide]] of shared.entries()) {
      expect(inverseAt(x)).toBeCloseTo(ends[i + 1][0], 3);
      expect(inverseAt(x + wide)).toBeCloseTo(ends[i][1], 3);
    }
    expect(text).toContain('to scale of 1/distance');
    expect(distanceSentence(planned)).toMatch(/^From 0\.8 m to infinity in 6 frames, focused at /);
  });

  it('stays within its width and small, for any plan', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 14, max: 400, noNaN: true }),
        fc.double({ min: 1.4, max: 22, noNaN: true }),
        fc.double({ min: 0.1, max: 50, noNaN: true }),
        fc.option(fc.double({ min: 1.01, max: 1000, noNaN: true })),
        fc.integer({ min: 300, max: 2400 }),
        (focalLengthMm, fNumber, nearM, times, drawn) => {
          let planned: LandscapePlan;
          try {
            planned = landscape({ focalLengthMm, fNumber, nearM, farM: times ? nearM * times : 'infinity' });
          } catch {
            return;
          }
          const { text } = distanceDrawing(planned, drawn);
          expect(text).not.toMatch(/NaN|Infinity|undefined|="-?\d+e/);
          for (const [x, wide] of attributes(text, /<rect [^>]*>/g, 'x', 'width')) {
            expect(x).toBeGreaterThan(0);
            expect(x + wide).toBeLessThan(drawn);
            expect(wide).toBeGreaterThanOrEqual(0);
          }
          expect(text.length).toBeLessThan(500_000);
        },
      ),
      { numRuns: 60 },
    );
  });
});

describe('the drawing over the apertures', () => {
  it('offers every aperture to the pointer, and shades what diffraction limits from the best one on', () => {
    const planned = stack({ widestFNumber: 2.8 });
    const { text } = apertureDrawing(planned, width);
    const offered = [...text.matchAll(/data-f-number="([\d.]+)"/g)].map(([, fNumber]) => Number(fNumber));
    expect(offered).toContain(8);
    expect(offered[0]).toBe(2.8);
    const hits = attributes(text, /<rect class="hit"[^>]*>/g, 'x', 'width');
    const [[soft]] = attributes(text, /<rect class="soft"[^>]*>/g, 'x');
    const limit = hits.findIndex(([x, wide]) => soft >= x && soft < x + wide);
    // Two pixels of Airy disc at 550 nm: within a third of a stop of what the plan calls best.
    expect(Math.abs(Math.log2(offered[limit] / planned.bestAperture!.markedFNumber!))).toBeLessThan(1 / 6);
    expect(apertureSentence(planned)).toMatch(
      /^f\/8: an Airy disc of [\d.]+ px, .* frames\. Beyond f\/[\d.]+ diffraction/,
    );
  });

  it('is nothing where the pixels are not known', () => {
    const planned = plan({ sensor: 'aps-c', circle: 0.02, magnification: 1, fNumber: 8, depthMm: 5 });
    expect(apertureDrawing(planned as StackPlan, width).text).toBe('');
  });
});

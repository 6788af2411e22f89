import { mkdirSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { beforeAll, describe, expect, it } from 'vitest';
import { depthOfFieldMm } from '../../samples/camera.js';
import { layeredNoise, smoothNoise } from '../../samples/noise.js';
import { commonDefaults } from '../../samples/render-scene.js';
import { createRenderer, planRender } from '../../samples/renderer.js';
import { drawSurface } from '../../samples/scene.js';
import { createSensor, encodePicture, exposeSensor } from '../../samples/sensor.js';
import { planShots } from '../../samples/shoot.js';
import { writeFrame } from '../../samples/write-frame.js';
import { check } from '../../src/check/check.js';
import { merge } from '../../src/mend/merge.js';
import type { MergeOptions } from '../../src/options/merge-options.js';
import { type CoverageClassName, coverageClassNames } from '../../src/result/coverage.js';
import { readResult } from '../../src/result/read-result.js';
import { makeFolder } from '../stack/pictures.js';

const [width, height] = [480, 160];
/** Pixels this near to another area or an edge of the frame say nothing: blur and windows reach so far. */
const clearPx = 24;

/** An upright strip of the picture; depths count in steps from the first of all frames. */
interface Area {
  /** At the top and at the bottom of the picture. */
  depth: readonly [number, number];
  /** The stone has its grain or is one even tone. */
  detail: boolean;
}

const level = (depth: number): Area => ({ depth: [depth, depth], detail: true });
const slope = (top: number, bottom: number): Area => ({ depth: [top, bottom], detail: true });

interface StackPlan {
  areas: readonly Area[];
  /** Frames that the camera's travel would have; the rail's step is 0.7 depths of field. */
  frames: number;
  /** Indices of those that were shot. */
  shot: readonly number[];
}

const indices = (first: number, last: number) =>
  Array.from({ length: last - first + 1 }, (_, i) => first + i);

/** Renders the areas side by side as photographs with noise, into a folder of their own. */
async function shoot({ areas, frames, shot }: StackPlan): Promise<string> {
  const bench = {
    ...commonDefaults,
    format: 'png',
    flickerPercent: 0,
    shiftPx: 1,
    rollDeg: 0,
  } as const;
  const seed = 1;
  const stepMm = bench.stepPart * depthOfFieldMm(bench, 2);
  const shots = planShots(frames, stepMm, bench, seed);
  const plan = planRender(width, height, bench, stepMm, shots);
  const columns = width / areas.length;
  const surfaces = areas
    .map((area, k) => ({
      area,
      from: k === 0 ? -1e9 : k * columns,
      to: k + 1 === areas.length ? 1e9 : (k + 1) * columns,
    }))
    .sort((first, second) => first.area.depth[0] - second.area.depth[0])
    .map(({ area, from, to }) =>
      drawSurface(plan.size, (x, y, out) => {
        const grain = smoothNoise(x / 3.1, y / 3.1, 8) + smoothNoise(x / 5.3, y / 5.3, 9);
        const stone = 0.5 + 0.55 * layeredNoise(x / 60, y / 60, 4, 0.75, seed) + 0.16 * grain;
        const tone = area.detail ? Math.max(0, Math.min(1, stone)) : 0.4;
        const [top, bottom] = area.depth;
        out.set([0.05 + 0.7 * tone, 0.05 + 0.6 * tone, 0.05 + 0.5 * tone]);
        out[3] = x >= from && x < to ? 1 : 0;
        out[4] = top + ((bottom - top) * (y + 0.5)) / height - plan.size.nearSteps;
      }),
    );
  const renderer = createRenderer({ surfaces, strands: [] }, plan);
  const sensor = createSensor(width, height, bench, seed);
  const folder = join(makeFolder(), 'frames');
  mkdirSync(folder);
  for (const [i, k] of shot.entries()) {
    const { linear } = renderer.drawFrame(shots[k]);
    exposeSensor(linear, sensor, k + 1);
    await writeFrame(folder, i + 1, encodePicture(linear, 8), { ...bench, width, height });
  }
  return folder;
}

type Shares = Record<CoverageClassName, number>;

/** The same photographs in the opposite order, without the times that say otherwise, in a folder of their own. */
async function turnAround(folder: string): Promise<string> {
  const turned = makeFolder();
  const files = readdirSync(folder).sort();
  await Promise.all(
    files.map((file, i) => sharp(join(folder, file)).toFile(join(turned, files[files.length - 1 - i]))),
  );
  return turned;
}

async function mergeAreas(plan: StackPlan, folder: string, options: Partial<MergeOptions> = {}) {
  const out = join(makeFolder(), 'merged');
  await merge(folder, { out, crop: 'anchor', threads: 2, ...options });
  const result = await readResult(out);
  const maps = await result.readMaps();
  const columns = width / plan.areas.length;
  return {
    maps,
    record: result.record,
    /** Shares of the coverage classes in an area, of its pixels at clear depths alone. */
    shares(area: number, isClear: (depth: number) => boolean = () => true): Shares {
      const counts = coverageClassNames.map(() => 0);
      const [top, bottom] = plan.areas[area].depth;
      for (let y = clearPx; y < height - clearPx; y++) {
        if (!isClear(top + ((bottom - top) * (y + 0.5)) / height)) continue;
        for (let x = area * columns + clearPx; x < (area + 1) * columns - clearPx; x++) {
          counts[maps.coverage[y * width + x]]++;
        }
      }
      const all = counts.reduce((sum, count) => sum + count, 0);
      return Object.fromEntries(coverageClassNames.map((name, i) => [name, counts[i] / all])) as Shares;
    },
  };
}

type Merged = Awaited<ReturnType<typeof mergeAreas>>;

describe('a subject that reaches beyond the ends of the stack', () => {
  /** Frames 6 to 12 of 19: two and six steps before the first, behind the last, and between them. */
  const plan: StackPlan = {
    areas: [level(4), level(0), slope(6.5, 11.5), level(14), level(18), slope(6.5, 11.5)],
    frames: 19,
    shot: indices(6, 12),
  };
  let merged: Merged;
  let turned: Merged;
  beforeAll(async () => {
    const folder = await shoot(plan);
    merged = await mergeAreas(plan, folder);
    turned = await mergeAreas(plan, await turnAround(folder));
  });

  it('is covered where planes of focus pass through it', () => {
    for (const { shares } of [merged, turned]) {
      expect(shares(2).covered).toBeGreaterThan(0.95);
      expect(shares(5).covered).toBeGreaterThan(0.95);
    }
  });

  it('lies before the first plane or behind the last, two steps away', () => {
    expect(merged.shares(0)['before-first']).toBeGreaterThan(0.9);
    expect(merged.shares(3)['after-last']).toBeGreaterThan(0.9);
  });

  it('has first and last in the order of the frames', () => {
    expect(turned.shares(0)['after-last']).toBeGreaterThan(0.9);
    expect(turned.shares(3)['before-first']).toBeGreaterThan(0.9);
  });

  it('is not covered six steps away: beyond the end, or too blurred to tell', () => {
    const before = merged.shares(1);
    expect(before['before-first'] + before['no-detail']).toBeGreaterThan(0.7);
    expect(before['after-last']).toBeLessThan(0.05);
    const behind = merged.shares(4);
    expect(behind['after-last'] + behind['no-detail']).toBeGreaterThan(0.7);
    expect(behind['before-first']).toBeLessThan(0.05);
  });

  it('has a depth wherever a frame supplies the pixel that could be sharp there, and nowhere else', () => {
    const outOfReach = coverageClassNames.indexOf('out-of-reach');
    for (const { maps } of [merged, turned]) {
      const isSupplied = (i: number) => maps.sources[i] !== 0 && maps.coverage[i] !== outOfReach;
      const unlike = maps.depth.findIndex((depth, i) => Number.isNaN(depth) === isSupplied(i));
      expect(unlike).toBe(-1);
    }
  });
});

describe('a stack whose middle frames are missing', () => {
  /** From plane 4 to plane 11: between them the blur grows to 10 px. */
  const plan: StackPlan = {
    areas: [slope(0.5, 14.5), level(7.5), slope(2, 13), slope(0.5, 14.5)],
    frames: 16,
    shot: [...indices(0, 4), ...indices(11, 15)],
  };
  let folder: string;
  let merged: Merged;
  beforeAll(async () => {
    folder = await shoot(plan);
    merged = await mergeAreas(plan, folder);
  });

  it('is covered on both sides', () => {
    for (const area of [0, 3]) {
      expect(merged.shares(area, (depth) => depth < 3 || depth > 12).covered).toBeGreaterThan(0.75);
    }
  });

  it.each([0, 1, 2, 3])('has a gap between, area %i', (area) => {
    expect(merged.shares(area, (depth) => depth > 6 && depth < 9).gap).toBeGreaterThan(0.77);
  });

  it('is told so before the merge and after it, between the same frames', async () => {
    const before = (await check(folder)).findings;
    for (const findings of [before, merged.record.findings]) {
      expect(findings).toContainEqual(
        expect.objectContaining({ kind: 'missed-step', rank: 'spoils', frames: [5, 6] }),
      );
    }
    const steps = merged.record.frames.map(({ travelSteps }) => travelSteps ?? 1);
    expect(steps.flatMap((step, k) => (step > 1.45 ? [k + 1] : []))).toEqual([6]);
  });

  it('keeps all frames, those with little in focus too', () => {
    expect(merged.record.frames.every(({ used }) => used)).toBe(true);
  });
});

describe.each([3, 5])('%i missing frames where the positions are known', (missing) => {
  const plan: StackPlan = {
    areas: [slope(0.5, 14.5), slope(2, 13), slope(0.5, 14.5)],
    frames: 16,
    shot: [...indices(0, 4), ...indices(5 + missing, 15)],
  };
  let merged: Merged;
  beforeAll(async () => {
    merged = await mergeAreas(plan, await shoot(plan), { positionsMm: [...plan.shot] });
  });

  it.each([0, 1, 2])('leave a gap of all that lies farther than a frame reaches, area %i', (area) => {
    // A frame shows sharp what is half a step to three quarters of one from its plane of focus.
    const isLost = (depth: number) => depth > 4.75 && depth < 4.25 + missing;
    expect(merged.shares(area, isLost).gap).toBeGreaterThan(0.95);
    expect(merged.shares(area, (depth) => depth < 4 || depth > 5 + missing).gap).toBeLessThan(0.01);
  });

  it('are told as the step that they leave', () => {
    expect(merged.record.frames[5].travelSteps).toBeCloseTo(missing + 1, 6);
  });
});

describe('a subject with an even part', () => {
  let merged: Merged;
  beforeAll(async () => {
    const even: Area = { depth: [4, 4], detail: false };
    const plan = { areas: [slope(0.5, 7.5), even], frames: 9, shot: indices(0, 8) };
    merged = await mergeAreas(plan, await shoot(plan));
  });

  it('is covered where it has detail', () => {
    expect(merged.shares(0).covered).toBeGreaterThan(0.95);
  });

  it('has no detail where noise is all there is', () => {
    expect(merged.shares(1)['no-detail']).toBeGreaterThan(0.8);
  });
});

import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { merge } from '../../src/index.js';
import { type Figures, measure } from './measure.js';
import { readResult } from './result.js';
import { readScene } from './scene.js';
import { reducedRecipes, sceneFolder } from './scenes.js';

/**
 * What `auto` reaches on small scenes, less a little: so much may numbers move when rounding changes, and no more. Who
 * makes the picture better raises them.
 */
const floors: Record<string, { atLeast: Partial<Figures>; atMost: Partial<Figures> }> = {
  'reduced-insect-head': {
    atLeast: { psnrDb: 31.35, ssim: 0.9622, sureRightPercent: 93.5, allSureRightPercent: 89.5 },
    atMost: {
      depthMedianSteps: 0.245,
      depthOffPercent: 0.42,
      offNearPercent: 11.7,
      backgroundNoise: 0.66,
      colour: 0.5,
      motionWorstPx: 0.44,
    },
  },
  'reduced-tilted-plane': {
    atLeast: { psnrDb: 46.6, ssim: 0.995, sureRightPercent: 99.99 },
    atMost: { depthMedianSteps: 0.038, depthOffPercent: 0, colour: 0.04, motionWorstPx: 0.11 },
  },
  'reduced-raytraced-insect-judged': {
    atLeast: {
      psnrDb: 28.32,
      ssim: 0.917,
      thinFoundPercent: 95,
      sureRightPercent: 95.5,
      allSureRightPercent: 67.5,
    },
    atMost: {
      depthMedianSteps: 0.12,
      depthOffPercent: 0.2,
      offNearPercent: 3.6,
      groundTakenPercent: 0.8,
      colour: 0.6,
      motionWorstPx: 0.53,
    },
  },
};

/** Scenes that are not in the cache are rendered first. */
const renderMs = 900_000;

describe('the reduced quality table', () => {
  let work = '';
  beforeAll(async () => {
    work = await mkdtemp(join(tmpdir(), 'lamella-reduced-'));
  });
  afterAll(() => rm(work, { recursive: true }));

  for (const recipe of reducedRecipes) {
    it(
      `does not fall below its floors on ${recipe.name}`,
      async (test) => {
        const folder = await sceneFolder(recipe);
        if ('skipped' in folder) return test.skip(folder.skipped);
        const scene = await readScene(folder.dir);
        const out = join(work, recipe.name);
        // Pictures so small hold too few depth edges to show which end is near: that is not what is judged here.
        const given = { anchor: scene.record.anchor, crop: 'anchor', direction: 'near-to-far' } as const;
        await merge(join(folder.dir, 'frames'), { out, ...given });
        const figures = measure(scene, await readResult(out, scene));
        const { atLeast, atMost } = floors[recipe.name];
        if (process.env.LAMELLA_SHOW_FIGURES) console.log(recipe.name, JSON.stringify(figures));
        for (const key of Object.keys(atLeast) as (keyof Figures)[])
          expect(figures[key], key).toBeGreaterThanOrEqual(atLeast[key] as number);
        for (const key of Object.keys(atMost) as (keyof Figures)[])
          expect(figures[key], key).toBeLessThanOrEqual(atMost[key] as number);
      },
      renderMs,
    );
  }
});

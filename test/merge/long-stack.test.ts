import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, it } from 'vitest';
import { merge } from '../../src/merge/merge.js';
import { coverageClassNames } from '../../src/result/coverage.js';
import { type Result, readResult } from '../../src/result/read-result.js';
import { makeFolder } from '../stack/pictures.js';
import { longSize, longTexture, patchCentres, patchPx, sharpFrame, writeLongStack } from './long-stack.js';

const frames = 3000;
const { width } = longSize;

// Depth indices of 1/64 frame end at frame 1019 of 16 bits, front layers' ordinals in ten bits at 1023.
describe(`a stack of ${frames} frames`, () => {
  let result: Result;
  beforeAll(async () => {
    const folder = join(makeFolder(), 'frames');
    mkdirSync(folder);
    await writeLongStack(folder, frames);
    const { out } = await merge(folder, { motion: 'none', direction: 'near-to-far', threads: 2 });
    result = await readResult(out);
  }, 300_000);

  it('has depth, sources and coverage right from the first frame to the last', async () => {
    const { depth, sources, coverage } = await result.readMaps();
    const anchor = (frames + 1) >> 1;
    for (const { patch, x, y } of patchCentres) {
      const i = y * width + x;
      const frame = sharpFrame(patch, frames);
      expect(Math.abs(depth[i] + anchor - frame), `depth of patch ${patch}`).toBeLessThan(0.25);
      expect(Math.abs(sources[i] - frame), `source of patch ${patch}`).toBeLessThanOrEqual(1);
      expect(coverageClassNames[coverage[i]], `coverage of patch ${patch}`).toBe('covered');
    }
  });

  it('shows every patch as its sharp frame does', async () => {
    const { pixels } = await result.readComposite();
    const texture = longTexture();
    for (const { patch, x, y } of patchCentres) {
      // Away from the patch's edges, where neighbours' windows reach.
      const inner = patchPx / 2 - 3;
      let worst = 0;
      for (let v = y - inner; v < y + inner; v++) {
        for (let u = x - inner; u < x + inner; u++) {
          worst = Math.max(worst, Math.abs(pixels[v * width + u] - 128 - texture[v * width + u]));
        }
      }
      // Half of the texture's range is 80.
      expect(worst, `patch ${patch}`).toBeLessThan(24);
    }
  });
});

import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { merge } from '../../src/mend/merge.js';
import type { SourceRule } from '../../src/options/source-rule.js';
import { coverageClassNames } from '../../src/result/coverage.js';
import { type Result, readResult } from '../../src/result/read-result.js';
import { makeFolder } from '../stack/pictures.js';
import { longSize, longTexture, patchCentres, patchPx, sharpFrame, writeLongStack } from './long-stack.js';

const { width } = longSize;

/** Merges a stack of so many frames. */
async function mergeLong(frames: number, rule: SourceRule): Promise<Result> {
  const folder = join(makeFolder(), 'frames');
  mkdirSync(folder);
  await writeLongStack(folder, frames);
  const { out } = await merge(folder, { rule, motion: 'none', direction: 'near-to-far', threads: 2 });
  return readResult(out);
}

// Depth indices of 1/64 frame end at frame 1019 of 16 bits, front layers' ordinals in ten bits at 1023.
describe('a stack longer than 1023 frames', () => {
  it('of 3000 has depth, sources and coverage right from the first frame to the last', async () => {
    const frames = 3000;
    const { depth, sources, coverage } = await (await mergeLong(frames, 'auto')).readMaps();
    const anchor = (frames + 1) >> 1;
    for (const { patch, x, y } of patchCentres) {
      const i = y * width + x;
      const frame = sharpFrame(patch, frames);
      expect(Math.abs(depth[i] + anchor - frame), `depth of patch ${patch}`).toBeLessThan(0.25);
      expect(Math.abs(sources[i] - frame), `source of patch ${patch}`).toBeLessThanOrEqual(1);
      expect(coverageClassNames[coverage[i]], `coverage of patch ${patch}`).toBe('covered');
    }
  }, 300_000);

  it('of 1100 shows every patch as its sharp frame does', async () => {
    // `select` computes nothing of its own, so that each patch must be that of its frame, up to noise and rounding.
    const { pixels, channels } = await (await mergeLong(1100, 'select')).readComposite();
    const texture = longTexture();
    // Away from the patches' edges, where the windows of their neighbours reach.
    const inner = patchPx / 2 - 3;
    for (const { patch, x, y } of patchCentres) {
      let worst = 0;
      for (let v = y - inner; v < y + inner; v++) {
        for (let u = x - inner; u < x + inner; u++) {
          const i = v * width + u;
          worst = Math.max(worst, Math.abs(pixels[i * channels] - 128 - texture[i]));
        }
      }
      // The texture has a range of 160.
      expect(worst, `patch ${patch}`).toBeLessThan(16);
    }
  }, 300_000);
});

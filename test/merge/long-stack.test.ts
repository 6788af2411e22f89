import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, it } from 'vitest';
import { identityMatrix } from '../../src/image/transform.js';
import { type FoundMaps, type MergedFrames, mergeFrames } from '../../src/merge/merge-frames.js';
import { RunLog } from '../../src/merge/run-log.js';
import type { UsedFrame } from '../../src/merge/used-frame.js';
import { resolveOptions } from '../../src/options/resolve-merge-options.js';
import type { SourceRule } from '../../src/options/source-rule.js';
import { coverageClassNames } from '../../src/result/coverage.js';
import { KeptFrames } from '../../src/stack/kept-frames.js';
import { readStack } from '../../src/stack/read-stack.js';
import { depthIndexOf } from '../../src/surface/depth-index.js';
import { makeFolder } from '../stack/pictures.js';
import { longSize, longTexture, patchCentres, patchPx, sharpFrame, writeLongStack } from './long-stack.js';

const { width, height } = longSize;
const channels = 3;

/** Merges the frames of a stack as they lie: registration, which takes most of the time, counts no depth. */
async function mergeLong(folder: string, rule: SourceRule): Promise<MergedFrames<FoundMaps>> {
  const { frames, size } = await readStack(folder);
  const used = frames.map(
    (file, k): UsedFrame => ({ file, ordinal: k + 1, toAnchor: identityMatrix, gainRatio: [1, 1, 1] }),
  );
  return mergeFrames(
    used,
    size,
    { x: 0, y: 0, ...size },
    8,
    resolveOptions({ rule, threads: 2 }),
    () => ({ direction: 'near-to-far' }),
    (found) => found,
    used.slice(1).map(() => 1),
    undefined,
    [],
    new KeptFrames(used.length * width * height),
    new RunLog({}),
    undefined,
  );
}

// Depth indices of 1/64 frame end at frame 1019 of 16 bits, front layers' ordinals in ten bits at 1023.
describe('a stack longer than 1023 frames', () => {
  // So many that an index has as few fraction bits as it ever has: four.
  const frames = 2100;
  let folder: string;
  beforeAll(async () => {
    folder = join(makeFolder(), 'frames');
    mkdirSync(folder);
    await writeLongStack(folder, frames);
  }, 300_000);

  it('has depth, sources and coverage right from the first frame to the last', async () => {
    const { maps, sources } = (await mergeLong(folder, 'auto')).found;
    for (const { patch, x, y } of patchCentres) {
      const i = y * width + x;
      const frame = sharpFrame(patch, frames);
      const depthIndex = depthIndexOf(maps.depthIndices[i], maps.fractionBits);
      expect(Math.abs(depthIndex - frame), `depth of patch ${patch}`).toBeLessThan(0.25);
      expect(Math.abs(sources[i] - frame), `source of patch ${patch}`).toBeLessThanOrEqual(1);
      expect(coverageClassNames[maps.coverage[i]], `coverage of patch ${patch}`).toBe('covered');
    }
  }, 300_000);

  it('shows every patch as its sharp frame does', async () => {
    // `select` computes nothing of its own, so that each patch must be that of its frame, up to noise and rounding.
    const { pixels } = await mergeLong(folder, 'select');
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

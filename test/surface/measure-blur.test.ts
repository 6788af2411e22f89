import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import sharp from 'sharp';
import { expect, it } from 'vitest';
import { renderScene } from '../../samples/render-scene.js';
import { FocusTracker } from '../../src/focus/focus-tracker.js';
import { invertMatrix, type Matrix3 } from '../../src/image/transform.js';
import { Arena } from '../../src/kernels/arena.js';
import { measureBlur } from '../../src/surface/measure-blur.js';
import { StripPool } from '../../src/workers/pool.js';
import { makeFolder } from '../stack/pictures.js';

const size = { width: 240, height: 180 };
const frames = 10;

// The depth of field is by definition that over which blur stays below its circle, here 2 px across: a step of one
// depth of field moves the radius from 0 to 2 px.
it.each([0.4, 0.7, 1.2])('the blur of a step of %f depths of field is measured', async (stepPart) => {
  const out = makeFolder();
  await renderScene({ scene: 'tilted-plane', out, ...size, frames, stepPart, format: 'png' });
  const record = JSON.parse(await readFile(join(out, 'truth', 'scene.json'), 'utf8'));
  const arena = new Arena();
  const pool = await StripPool.start(arena, 2, FocusTracker.scratchBytes(size));
  try {
    const tracker = new FocusTracker(arena, pool, size, size, 4);
    const pointer = arena.take(size.width * size.height * 3 + 64);
    for (const [k, transform] of (record.transforms as Matrix3[]).entries()) {
      const file = join(out, 'frames', `${String(k + 1).padStart(4, '0')}.png`);
      const pixels = await sharp(file).removeAlpha().raw().toBuffer();
      arena.u8(pointer, pixels.length).set(pixels);
      const toFrame = invertMatrix(transform);
      await tracker.add({ pointer, bits: 8, ...size, toFrame, gainRatio: [1, 1, 1], ordinal: k + 1 });
    }
    const blurPx = measureBlur(tracker, frames);
    // Measured too small, it clears a little less; too large, it would do harm.
    const ratio = (blurPx ?? 0) / (2 * stepPart);
    expect(ratio).toBeGreaterThan(0.65);
    expect(ratio).toBeLessThan(1.2);
  } finally {
    await pool.close();
  }
});

import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import sharp from 'sharp';
import { expect, it } from 'vitest';
import { renderScene } from '../../samples/render-scene.js';
import { FocusTracker } from '../../src/focus/focus-tracker.js';
import type { Gpu } from '../../src/gpu/device.js';
import type { GpuPlanes } from '../../src/gpu/planes.js';
import { findGpuSurface, readGpuSurface } from '../../src/gpu/surface.js';
import { invertMatrix, type Matrix3 } from '../../src/image/transform.js';
import { Arena } from '../../src/kernels/arena.js';
import { measureBlur } from '../../src/surface/measure-blur.js';
import { findSurface, readSurface } from '../../src/surface/surface.js';
import { StripPool } from '../../src/workers/pool.js';
import { type Plane, pictureOf } from '../kernels/kernel-rig.js';
import { makeFolder } from '../stack/pictures.js';
import { describeGpu, type GpuRig } from './gpu-rig.js';

const size = { width: 200, height: 150 };
const frames = 8;

/** Follows the focus curves of a rendered stack. */
async function follow(scene: 'leaves' | 'insect-head', arena: Arena, pool: StripPool) {
  const out = makeFolder();
  await renderScene({ scene, out, ...size, frames, magnification: 1.2, format: 'png' });
  const { transforms } = JSON.parse(await readFile(join(out, 'truth', 'scene.json'), 'utf8'));
  const tracker = new FocusTracker(arena, pool, size, size, 4);
  const pointer = arena.take(size.width * size.height * 3 + 64);
  const toFrame = (transforms as Matrix3[]).map(invertMatrix);
  for (const [k, matrix] of toFrame.entries()) {
    const file = join(out, 'frames', `${String(k + 1).padStart(4, '0')}.png`);
    const pixels = await sharp(file).removeAlpha().raw().toBuffer();
    arena.u8(pointer, pixels.length).set(pixels);
    const frame = { pointer, bits: 8, ...size, gainRatio: [1, 1, 1] } as const;
    await tracker.add({ ...frame, toFrame: matrix, ordinal: k + 1 });
  }
  return { tracker, bounds: { toFrame, frame: size } };
}

function storeState(rig: GpuRig, gpu: Gpu, arena: Arena, { state }: FocusTracker): GpuPlanes[] {
  return state.map((planes) => {
    const { width, height, stride } = planes;
    const pictures = Array.from({ length: planes.planes }, (_, n): Plane => {
      const codes = arena.planeU16(planes, n);
      return pictureOf(width, height, (x, y) => codes[y * stride + x]);
    });
    return rig.store(gpu, pictures, 2);
  });
}

describeGpu('the surface of a scene', (rig) => {
  it.each(['leaves', 'insect-head'] as const)('is that of the processor: %s', async (scene) => {
    const { gpu } = rig;
    const arena = new Arena();
    const pool = await StripPool.start(arena, 2, FocusTracker.scratchBytes(size));
    try {
      const { tracker, bounds } = await follow(scene, arena, pool);
      const blurPx = measureBlur(tracker, frames);
      const steps = new Array<number>(frames - 1).fill(1);
      const state = storeState(rig, gpu, arena, tracker);
      const found = await findGpuSurface(gpu, state, tracker, bounds, 1, steps, blurPx, 1);
      const maps = await readGpuSurface(gpu, found, bounds);
      // The same bytes every time.
      const again = storeState(rig, gpu, arena, tracker);
      const second = await findGpuSurface(gpu, again, tracker, bounds, 1, steps, blurPx, 1);
      expect(await readGpuSurface(gpu, second, bounds)).toEqual(maps);

      const surface = await findSurface(arena, pool, tracker, bounds, 1, steps, blurPx, 1);
      const expected = await readSurface(arena, pool, surface, bounds);
      const apart = Array.from(expected.depthIndices, (depthIndex, i) =>
        Math.abs(maps.depthIndices[i] - depthIndex),
      );
      const share = (isWithin: (i: number) => boolean) =>
        apart.filter((_, i) => isWithin(i)).length / apart.length;
      const unit = 2 ** maps.fractionBits;
      expect(apart.toSorted((a, b) => a - b)[apart.length >> 1]).toBeLessThan(0.02 * unit);
      expect(share((i) => apart[i] <= 0.02 * unit)).toBeGreaterThan(0.999);
      expect(share((i) => Math.abs(maps.confidence[i] - expected.confidence[i]) <= 1)).toBeGreaterThan(0.999);
      expect(share((i) => maps.coverage[i] === expected.coverage[i])).toBeGreaterThan(0.999);
      expect(found.detailShare).toBeCloseTo(surface.detailShare, 4);
      // What stands for the sources: ordinals of the best frame and of front layers, level by level.
      for (const [level, planes] of surface.peaks.entries()) {
        for (const plane of [6, 8]) {
          const here = await rig.read(gpu, found.peaks[level], plane);
          const codes = arena.planeU16(planes, plane);
          const { width, height, stride } = planes;
          expect(here).toEqual(pictureOf(width, height, (x, y) => codes[y * stride + x]));
        }
      }
      // Something is decided in the scene, at depth edges too.
      expect(share((i) => expected.coverage[i] === 0)).toBeGreaterThan(0.2);
      gpu.release(...state, ...again, found.surface, second.surface);
    } finally {
      await pool.close();
    }
  });
});

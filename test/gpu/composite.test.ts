import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { beforeAll, expect, it } from 'vitest';
import { renderScene } from '../../samples/render-scene.js';
import { planSources, takePlan } from '../../src/blend/plan-sources.js';
import { PyramidBlender } from '../../src/blend/pyramid-blender.js';
import { SpillFinder, takeSpill } from '../../src/blend/spill.js';
import { FocusTracker } from '../../src/focus/focus-tracker.js';
import { GpuPyramidBlender } from '../../src/gpu/blend.js';
import type { Gpu } from '../../src/gpu/device.js';
import { planGpuSources } from '../../src/gpu/plan.js';
import type { GpuPlanes } from '../../src/gpu/planes.js';
import { findGpuSpill } from '../../src/gpu/spill.js';
import { srgbCurve } from '../../src/image/transfer-curve.js';
import { invertMatrix, type Matrix3 } from '../../src/image/transform.js';
import { Arena, type Planes } from '../../src/kernels/arena.js';
import type { SourceRule } from '../../src/options/source-rule.js';
import { measureBlur, measureLoss } from '../../src/surface/measure-blur.js';
import { findSurface } from '../../src/surface/surface.js';
import { StripPool } from '../../src/workers/pool.js';
import { at, type Plane, pictureOf } from '../kernels/kernel-rig.js';
import { makeFolder } from '../stack/pictures.js';
import { describeGpu, devices, type GpuRig } from './gpu-rig.js';

const size = { width: 161, height: 121 };
const samples = size.width * size.height * 3;
const count = 8;
/** The scene is shot from its near end on. */
const nearSign = 1;
const smallSide = 60;
const rules = ['auto', 'select', 'weigh'] as const;

interface Merged {
  pixels: Uint8Array;
  sources: Plane;
  share: number;
  /** The picture before it is finished, made small. */
  soFar: Uint8Array;
}

/** A rendered stack of hairs and facets whose surface the processor finds; what it makes of it by each rule. */
class Stack {
  frames: {
    pixels: Uint8Array;
    toFrame: Matrix3;
    ordinal: number;
    gainRatio: readonly [number, number, number];
  }[] = [];
  toFrame: Matrix3[] = [];
  blurPx!: number;
  lost = 0;
  readonly merged = new Map<SourceRule, Merged>();
  /** Depth indices with weights, light, and the state of each level, as a device holds them. */
  surfaceWords!: Plane;
  lightWords!: Plane;
  states: Plane[][] = [];

  async make(): Promise<void> {
    const out = makeFolder();
    const { transforms } = await renderScene({
      scene: 'insect-head',
      out,
      ...size,
      frames: count,
      format: 'png',
    });
    this.toFrame = transforms.map(invertMatrix);
    for (const [k, toFrame] of this.toFrame.entries()) {
      const file = readFileSync(join(out, 'frames', `${String(k + 1).padStart(4, '0')}.png`));
      const pixels = new Uint8Array(await sharp(file).removeAlpha().raw().toBuffer());
      this.frames.push({ pixels, toFrame, ordinal: k + 1, gainRatio: [1, 1, 1] });
    }
    const arena = new Arena();
    const scratch = Math.max(PyramidBlender.scratchBytes(size, size, 0.01), FocusTracker.scratchBytes(size));
    const pool = await StripPool.start(arena, 2, scratch);
    try {
      const pointer = arena.take(samples + 64);
      const spill = takeSpill(arena, size);
      const tracker = new FocusTracker(arena, pool, size, size, 4);
      const finder = new SpillFinder(arena, pool, tracker, srgbCurve);
      const placed = (k: number) => {
        arena.u8(pointer, samples).set(this.frames[k].pixels);
        return { ...this.frames[k], pointer, bits: 8 as const, ...size };
      };
      for (let k = 0; k < count; k++) {
        await tracker.add(placed(k));
        await finder.note(placed(k));
      }
      this.blurPx = measureBlur(tracker, count) ?? 1;
      this.lost = measureLoss(tracker, count);
      const bounds = { toFrame: this.toFrame, frame: size };
      const steps = Array<number>(count - 1).fill(1);
      const surface = await findSurface(arena, pool, tracker, bounds, nearSign, steps, this.blurPx, 1);
      const read = (planes: Planes, plane = 0) => {
        const data = arena.planeU16(planes, plane);
        return pictureOf(planes.width, planes.height, (x, y) => data[y * planes.stride + x]);
      };
      this.states = surface.peaks.map((planes) =>
        Array.from({ length: planes.planes }, (_, plane) => read(planes, plane)),
      );
      const [depthIndices, weights] = [read(surface.depthIndices), read(surface.weights)];
      this.surfaceWords = pictureOf(
        size.width,
        size.height,
        (x, y) => at(depthIndices, x, y) + 65536 * at(weights, x, y),
      );
      const { width, height } = this.states[1][0];
      const light = new Uint32Array(arena.gather(finder.lights).buffer);
      this.lightWords = pictureOf(width, height, (x, y) => light[y * width + x]);
      for (const rule of rules) {
        const mark = arena.mark();
        const plan = takePlan(arena, size, count);
        await planSources(arena, pool, plan, surface, this.toFrame, size, rule, nearSign, this.blurPx);
        const share = rule === 'auto' ? await finder.find(spill, surface, this.blurPx, nearSign) : 0;
        const [spilled, lost] = rule === 'auto' ? [spill, this.lost] : [];
        const blender = new PyramidBlender(arena, pool, size, size, plan, srgbCurve, spilled, lost);
        for (let k = 0; k < count; k++) await blender.add(placed(k));
        const soFar = blender.soFar(smallSide)!.pixels;
        const pixels = arena.gather(await blender.finish(8));
        const named = new Uint16Array(arena.gather(plan.sources).buffer);
        const sources = pictureOf(size.width, size.height, (x, y) => named[y * size.width + x]);
        this.merged.set(rule, { pixels, sources, share, soFar });
        arena.release(mark);
      }
    } finally {
      await pool.close();
    }
  }

  /** What a device makes of the same surface. */
  async mergedOn(rig: GpuRig, gpu: Gpu, rule: SourceRule): Promise<Merged> {
    const surface = rig.storeWords(gpu, [this.surfaceWords]);
    const peaks = this.states.map((planes) => rig.store(gpu, planes, 2));
    const lights = rig.storeWords(gpu, [this.lightWords]);
    const pixels = gpu.takeFrame(size.width, size.height, 8);
    const plan = planGpuSources(
      gpu,
      { surface, peaks, unit: 1 },
      this.toFrame,
      size,
      rule,
      nearSign,
      this.blurPx,
    );
    let spill: GpuPlanes | undefined;
    let share = 0;
    if (rule === 'auto') {
      ({ spill, share } = await findGpuSpill(gpu, surface, lights, this.blurPx, nearSign, plan.fractionBits));
    }
    const lost = rule === 'auto' ? this.lost : 0;
    const blender = new GpuPyramidBlender(gpu, size, plan, srgbCurve, spill, lost);
    for (const frame of this.frames) {
      gpu.writeTable(pixels.buffer, frame.pixels);
      blender.add({ ...frame, pixels, bits: 8 });
    }
    const soFar = (await blender.soFar(smallSide))!.pixels;
    const picture = (await blender.finish(8)) as Uint8Array;
    const sources = await rig.read(gpu, plan.sources);
    const maps = plan.levels.flatMap((level) => [level.maps, level.spans]);
    gpu.release(
      surface,
      ...peaks,
      lights,
      pixels,
      ...maps,
      plan.sources,
      plan.uses,
      ...(spill ? [spill] : []),
    );
    return { pixels: picture, sources, share, soFar };
  }
}

/** Part of the values that differ by more than `most`. */
function shareApart(first: ArrayLike<number>, second: ArrayLike<number>, most: number): number {
  let apart = 0;
  for (let i = 0; i < first.length; i++) if (Math.abs(first[i] - second[i]) > most) apart++;
  return apart / first.length;
}

describeGpu(
  'a picture of a surface',
  (rig) => {
    const stack = new Stack();
    let once: Merged | undefined;
    beforeAll(() => stack.make());

    it.each(rules)('is that of the processor, by rule %s', async (rule) => {
      const expected = stack.merged.get(rule)!;
      const ours = await stack.mergedOn(rig, rig.gpu, rule);
      expect(shareApart(ours.sources.data, expected.sources.data, 0)).toBe(0);
      expect(shareApart(ours.pixels, expected.pixels, 1)).toBeLessThan(0.001);
      expect(ours.share).toBeCloseTo(expected.share, 3);
      expect(ours.soFar.length).toBeGreaterThan(3000);
      expect(shareApart(ours.soFar, expected.soFar, 1)).toBe(0);
      if (rule === 'auto') expect(ours.share).toBeGreaterThan(0.005);
    });

    it.each(devices)('is the same, byte for byte, every time and by bands of rows (%s)', async (which) => {
      once ??= await stack.mergedOn(rig, rig.gpu, 'auto');
      const again = await stack.mergedOn(rig, rig[which], 'auto');
      expect(shareApart(again.pixels, once.pixels, 0)).toBe(0);
      expect(shareApart(again.sources.data, once.sources.data, 0)).toBe(0);
    });
  },
  { bandBytes: 1 << 19 },
);

import { expect, it } from 'vitest';
import { SpillFinder } from '../../src/blend/spill.js';
import { type StatePlane, statePlane } from '../../src/focus/focus-curves.js';
import { FocusTracker } from '../../src/focus/focus-tracker.js';
import { GpuFocus } from '../../src/gpu/focus.js';
import { srgbCurve } from '../../src/image/transfer-curve.js';
import type { Matrix3 } from '../../src/image/transform.js';
import { Arena } from '../../src/kernels/arena.js';
import { innerFrames, medianBend } from '../../src/surface/curve-bend.js';
import { seeThrough } from '../../src/surface/see-through.js';
import { StripPool } from '../../src/workers/pool.js';
import { type Plane, pictureOf, randomFrom } from '../kernels/kernel-rig.js';
import { describeGpu, devices } from './gpu-rig.js';

const frame = { width: 203, height: 150 };
const size = { width: 197, height: 147 };
const count = 8;
const dust = [{ x: 60.4, y: 50.2, radius: 5.5 }];

/** Frames of textured ground in depth that steps to the right, each sharp in its band; a little noise, turned and scaled. */
function frames(bits: 8 | 16) {
  const ground = randomFrom(5);
  const texture = Array.from({ length: frame.width * frame.height }, () => ground() - 0.5);
  return Array.from({ length: count }, (_, k) => {
    const random = randomFrom(k + 100);
    const most = 2 ** bits - 1;
    const pixels = new (bits === 8 ? Uint8Array : Uint16Array)(frame.width * frame.height * 3);
    for (let i = 0; i < frame.width * frame.height; i++) {
      const place = ((i % frame.width) / frame.width) * (count + 1);
      const sharp = Math.exp(-((place - k - 1) ** 2));
      const tone = 0.1 + (0.8 * Math.floor(i / frame.width)) / frame.height;
      for (let c = 0; c < 3; c++) {
        const value = tone + 0.15 * sharp * texture[i] * (1 - 0.2 * c) + 0.01 * (random() - 0.5);
        pixels[3 * i + c] = Math.round(most * Math.min(1, Math.max(0, value)));
      }
    }
    const [turn, scale] = [0.002 * (k - 3), 1 + 0.003 * (k - 3)];
    const toFrame: Matrix3 = [scale, -turn, 3.2 + 0.37 * k, turn, scale, 1.6 - 0.21 * k, 0, 0, 1];
    return { pixels, ordinal: k + 1, toFrame, gainRatio: [1.02, 1, 0.97] as const };
  });
}

async function onProcessor(bits: 8 | 16) {
  const arena = new Arena();
  const pool = await StripPool.start(arena, 2, FocusTracker.scratchBytes(frame));
  try {
    const tracker = new FocusTracker(arena, pool, size, frame, 4, dust);
    const spill = new SpillFinder(arena, pool, tracker, srgbCurve);
    const samples = frame.width * frame.height * 3;
    const pointer = arena.take((samples * bits) / 8 + 64);
    for (const { pixels, ...given } of frames(bits)) {
      (bits === 8 ? arena.u8(pointer, samples) : arena.u16(pointer, samples)).set(pixels);
      const placed = { ...given, pointer, bits, ...frame };
      await tracker.add(placed);
      await spill.note(placed);
    }
    const plane = (level: number, name: StatePlane): Plane => {
      const { width, height, stride } = tracker.state[level];
      const values = tracker.plane(level, name);
      return pictureOf(width, height, (x, y) => values[y * stride + x]);
    };
    return { tracker, plane, lights: arena.gather(spill.lights) };
  } finally {
    await pool.close();
  }
}

/** Share of pixels whose numbers differ by more than `least`. */
function shareApart(first: Plane, second: Plane, least: number): number {
  return first.data.filter((value, i) => Math.abs(value - second.data[i]) > least).length / first.data.length;
}

describeGpu(
  'focus curves of frames that are turned, scaled and dusty',
  (rig) => {
    it.each(devices.flatMap((which) => ([8, 16] as const).map((bits) => ({ which, bits }))))(
      'are those that the processor follows ($bits bits, $which)',
      async ({ which, bits }) => {
        const gpu = rig[which];
        const focus = new GpuFocus(gpu, size, frame, 4, count, dust, srgbCurve);
        const pixels = gpu.takeFrame(frame.width, frame.height, bits);
        for (const given of frames(bits)) {
          gpu.writeTable(pixels.buffer, given.pixels);
          focus.add({ ...given, pixels, bits });
        }
        const expected = await onProcessor(bits);
        const curves = await focus.curves();
        for (let level = 0; level < 4; level++) {
          const noise = [...curves.noiseCodes(level)].map((code, b) =>
            Math.abs(code - expected.tracker.noiseCodes(level)[b]),
          );
          expect(Math.max(...noise)).toBeLessThanOrEqual(1);
          for (const name of Object.keys(statePlane) as StatePlane[]) {
            const index = statePlane[name];
            if (index >= focus.state[level].planes || name === 'front') continue;
            const ours = await rig.read(gpu, focus.state[level], index);
            const theirs = expected.plane(level, name);
            // Codes are rounded, so that two that are close may change places.
            expect(shareApart(ours, theirs, 1), `${name} of level ${level}`).toBeLessThan(0.001);
          }
        }
        for (let level = 0; level < 4; level++) {
          const [ours, theirs] = [curves, expected.tracker].map((of) =>
            medianBend(of, level, innerFrames(count)),
          );
          expect(ours === undefined).toBe(theirs === undefined);
          expect(Math.abs((ours ?? 0) - (theirs ?? 0))).toBeLessThan(0.005);
        }
        const [ours, theirs] = [curves, expected.tracker].map((of) => seeThrough(of, count));
        expect(ours?.blocks).toBe(theirs?.blocks);
        expect(Math.abs((ours?.z ?? 0) - (theirs?.z ?? 0))).toBeLessThan(0.05);
        const lights = new Uint8Array(expected.lights.length);
        await gpu.readPlane(focus.lights!, 0, lights, focus.lights!.width * 4);
        const apart = lights.filter((value, i) => Math.abs(value - expected.lights[i]) > 1).length;
        expect(apart / lights.length).toBeLessThan(0.002);
        expect(expected.lights.some((value) => value > 100)).toBe(true);
      },
    );
  },
  { bandBytes: 600 << 10 },
);

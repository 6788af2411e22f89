import { beforeAll, describe, expect, it } from 'vitest';
import { at, KernelRig, type Plane, pictureOf, worstDifference } from './kernel-rig.js';
import { type Affine, motions, warped } from './warp-twin.js';

let rig: KernelRig;
beforeAll(async () => {
  rig = await KernelRig.start();
});

/** Two blocks of 512 columns, several strips, both sizes odd. */
const width = 531;
const height = 35;
const gains = [1, 0.9, 1.05] as const;

/** Smooth waves: at most 32 grey values per pixel steep, so 1/1024 px of rounding is at most 0.03. */
const channels = [0, 1, 2].map((c) =>
  pictureOf(width, height, (x, y) =>
    Math.round(128 + 60 * Math.sin(x / 2.7 + c) * Math.cos(y / 3.1 - c) + 25 * Math.sin(x / 11 + y / 7)),
  ),
);

function frameOf(bits: 8 | 16 | 32): Uint8Array | Uint16Array | Float32Array {
  const each = bits === 32 ? 4 : 3;
  const values = new Float32Array(width * height * each);
  channels.forEach((channel, c) => {
    channel.data.forEach((value, i) => {
      values[i * each + c] = value * (bits === 16 ? 257 : 1);
    });
  });
  return bits === 8 ? Uint8Array.from(values) : bits === 16 ? Uint16Array.from(values) : values;
}

function warp(bits: 8 | 16 | 32, motion: Affine, gain: readonly number[] = gains): Plane[] {
  const out = rig.arena.takePlanes(width, height, 3, 4);
  rig.run(
    'warpStrip',
    [
      rig.placeSamples(frameOf(bits)),
      bits,
      width,
      height,
      ...gain,
      ...motion,
      rig.taps,
      out.pointer,
      out.stride,
      out.planeBytes,
      width,
      height,
    ],
    height,
  );
  return [0, 1, 2].map((c) => rig.read(out, c));
}

describe('warpStrip', () => {
  it.each(motions)('resamples under $name', ({ motion }) => {
    const twins = channels.map((channel, c) => warped(channel, gains[c], motion));
    for (const bits of [8, 16, 32] as const) {
      warp(bits, motion).forEach((plane, c) => {
        expect(worstDifference(plane, twins[c]), `${bits} bits`).toBeLessThan(2e-3 * 255);
      });
    }
  });

  it.each([0, 0.004])(
    'reads floats where they lie as it reads bytes, away from the edges (roll %f)',
    (roll) => {
      const motion: Affine = [0.9, -roll, 20, roll, 0.9, 0.3];
      const bytes = warp(8, motion, [1, 1, 1]);
      warp(32, motion, [1, 1, 1]).forEach((plane, c) => {
        expect(worstDifference(plane, bytes[c])).toBe(0);
      });
    },
  );

  it.each([8, 16, 32] as const)('copies whole-pixel positions of %i bits without a trace', (bits) => {
    const planes = warp(bits, [1, 0, 3, 0, 1, -2], [1, 1, 1]);
    planes.forEach((plane, c) => {
      const moved = pictureOf(width, height, (x, y) =>
        at(channels[c], Math.min(width - 1, x + 3), Math.max(0, y - 2)),
      );
      // 16-bit samples are divided by 257 in 32-bit floats.
      expect(worstDifference(plane, moved)).toBeLessThan(bits === 16 ? 1e-4 : 1e-9);
    });
  });
});

import { beforeAll, describe, expect, it } from 'vitest';
import { at, KernelRig, type Plane, pictureOf, worstDifference } from './kernel-rig.js';

let rig: KernelRig;
beforeAll(async () => {
  rig = await KernelRig.start();
});

type Affine = readonly [number, number, number, number, number, number];

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

function lanczos3(x: number): number {
  if (x === 0) return 1;
  if (Math.abs(x) >= 3) return 0;
  return (Math.sin(Math.PI * x) / (Math.PI * x)) * (Math.sin((Math.PI * x) / 3) / ((Math.PI * x) / 3));
}

function tapsAt(position: number): { first: number; taps: number[] } {
  const first = Math.floor(position) - 2;
  const taps = [0, 1, 2, 3, 4, 5].map((i) => lanczos3(first + i - position));
  const sum = taps.reduce((total, tap) => total + tap, 0);
  return { first, taps: taps.map((tap) => tap / sum) };
}

/** The formula as it stands: 6 x 6 taps about the exact position, the frame continued with its edge pixels. */
function twin(source: Plane, gain: number, [a, b, c, d, e, f]: Affine): Plane {
  const clamp = (i: number, n: number) => Math.max(0, Math.min(n - 1, i));
  return pictureOf(width, height, (x, y) => {
    const across = tapsAt(a * x + b * y + c);
    const down = tapsAt(d * x + e * y + f);
    let sum = 0;
    down.taps.forEach((tapDown, j) => {
      const row = clamp(down.first + j, height);
      across.taps.forEach((tapAcross, i) => {
        sum += tapDown * tapAcross * at(source, clamp(across.first + i, width), row);
      });
    });
    return gain * sum;
  });
}

const roll = 0.003;
const motions: { name: string; motion: Affine }[] = [
  { name: 'a shift', motion: [1, 0, 2.37, 0, 1, -1.61] },
  { name: 'a shift the other way', motion: [1, 0, -3.21, 0, 1, 0.72] },
  { name: 'a larger scale', motion: [1.013, 0, -3.1, 0, 1.013, -0.3] },
  { name: 'a smaller scale', motion: [0.987, 0, 3.4, 0, 0.987, 0.4] },
  {
    name: 'a small roll',
    motion: [Math.cos(roll), -Math.sin(roll), 0.4, Math.sin(roll), Math.cos(roll), -0.8],
  },
  {
    name: 'a small roll the other way',
    motion: [Math.cos(roll), Math.sin(roll), -0.6, -Math.sin(roll), Math.cos(roll), 0.7],
  },
];

describe('warpStrip', () => {
  it.each(motions)('resamples under $name', ({ motion }) => {
    const twins = channels.map((channel, c) => twin(channel, gains[c], motion));
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

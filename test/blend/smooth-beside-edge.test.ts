import { describe, expect, it } from 'vitest';
import { randomFrom } from '../kernels/kernel-rig.js';
import { mergeDrawn } from './merge-drawn.js';

const size = { width: 288, height: 96 };
const count = 24;
/** Ordinal at which the subject, left of the rim, is in focus; radius of its blur a frame from there, px. */
const [subjectAt, blurPx] = [18, 1];
const rim = 120;
const [ground, subject] = [70, 190];

/** Part of the blur disc of a point `x` px right of the rim that the subject covers: the segment of a circle. */
function cover(x: number, radius: number): number {
  if (radius < 0.5) return Math.max(0, Math.min(1, 0.5 - x));
  const t = Math.max(-1, Math.min(1, x / radius));
  return (Math.acos(t) - t * Math.sqrt(1 - t * t)) / Math.PI;
}

function frame(ordinal: number): Uint8Array {
  const random = randomFrom(ordinal);
  const radius = blurPx * Math.abs(ordinal - subjectAt);
  return Uint8Array.from({ length: size.width * size.height * 3 }, (_, i) => {
    const x = Math.floor(i / 3) % size.width;
    const y = Math.floor(i / 3 / size.width);
    // A grain that blur takes away; the ground behind shows none.
    const grain = (30 * Math.sin(1.3 * x + 0.4 * y) * Math.cos(1.1 * y)) / (1 + radius ** 2);
    const part = cover(x - rim + 0.5, radius);
    const noise = 1.2 * (random() + random() + random() - 1.5);
    return Math.round(part * (subject + grain) + (1 - part) * ground + noise);
  });
}

describe('smooth ground beside a strong edge', () => {
  /** Mean of what is too bright in a ring outside the rim. */
  async function glow(order: 1 | -1, blur: number | undefined): Promise<number> {
    const frames = Array.from({ length: count }, (_, k) => frame(order === 1 ? k + 1 : count - k));
    const out = await mergeDrawn(frames, size, 'weigh', order, () => ({ blurPx: blur, lost: 0 }));
    let sum = 0;
    let pixels = 0;
    for (let y = 10; y < size.height - 10; y++) {
      for (let x = rim + 6; x < rim + 24; x++, pixels++)
        sum += Math.abs(out[3 * (y * size.width + x) + 1] - ground);
    }
    return sum / pixels;
  }

  it.each([1, -1] as const)(
    'has no glow of the edge, which is blurred over it, nearSign %i',
    async (order) => {
      const [told, untold] = [await glow(order, blurPx), await glow(order, undefined)];
      expect(told).toBeLessThan(1.5);
      expect(told).toBeLessThan(0.6 * untold);
    },
  );
});

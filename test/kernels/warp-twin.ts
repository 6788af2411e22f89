import { at, type Plane, pictureOf } from './kernel-rig.js';

export type Affine = readonly [number, number, number, number, number, number];

const roll = 0.003;
export const motions: { name: string; motion: Affine }[] = [
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
export function warped(source: Plane, gain: number, [a, b, c, d, e, f]: Affine): Plane {
  const { width, height } = source;
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

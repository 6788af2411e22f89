import { expect, it } from 'vitest';
import { measureBlur, measureLoss } from '../../src/surface/measure-blur.js';
import { besselJ1 } from '../bessel-j1.js';
import { randomFrom } from '../kernels/kernel-rig.js';
import { mergeDrawn } from './merge-drawn.js';

const size = { width: 256, height: 160 };
const count = 11;
const blurPx = 1.4;

/** What a disc of this radius in px leaves of the contrast at f cycles a pixel: 2 J1(x) / x, x = 2 pi f r. */
function discResponse(f: number, radius: number): number {
  const x = 2 * Math.PI * f * radius;
  return x < 1e-6 ? 1 : (2 * besselJ1(x)) / x;
}

/** Waves of the finest level in many directions; each frame shows them with the contrast that its blur leaves. */
const waves = Array.from({ length: 14 }, (_, i) => {
  const f = 0.14 + 0.018 * i;
  const turn = 2.4 * i;
  return { f, u: f * Math.cos(turn), v: f * Math.sin(turn), phase: 1.7 * i * i };
});

/** Ordinal of the frame in whose plane of focus a column lies: a tilted plane, 40 px from frame to frame. */
const placeOf = (x: number) => 3 + x / 40;

/** The scene as a frame sees it, or as it is. */
function scene(ordinal?: number): Float32Array {
  const responses = Array.from({ length: size.width }, (_, x) =>
    waves.map(({ f }) =>
      ordinal === undefined ? 1 : discResponse(f, blurPx * Math.abs(ordinal - placeOf(x))),
    ),
  );
  return Float32Array.from({ length: size.width * size.height }, (_, i) => {
    const [x, y] = [i % size.width, Math.floor(i / size.width)];
    let sum = 0;
    for (const [k, { u, v, phase }] of waves.entries()) {
      sum += responses[x][k] * Math.cos(2 * Math.PI * (u * x + v * y) + phase);
    }
    return 128 + 9 * sum;
  });
}

/** Merges the frames; the green channel. */
async function merge(rule: 'auto' | 'weigh'): Promise<Float64Array> {
  const frames = Array.from({ length: count }, (_, k) => {
    const random = randomFrom(k + 1);
    const drawn = scene(k + 1);
    return Uint8Array.from({ length: drawn.length * 3 }, (_, i) =>
      Math.round(drawn[Math.floor(i / 3)] + 1.5 * (random() + random() + random() - 1.5)),
    );
  });
  const picture = await mergeDrawn(frames, size, rule, 1, (tracker) =>
    rule === 'auto'
      ? { blurPx: measureBlur(tracker, count), lost: measureLoss(tracker, count) }
      : { blurPx: undefined, lost: 0 },
  );
  return Float64Array.from({ length: size.width * size.height }, (_, i) => picture[3 * i + 1]);
}

/**
 * Contrast of a picture as a part of the true one, the slope of its values over the true ones, in the columns whose
 * depth index is `from` to `to` frames from the nearest frame's.
 */
function contrast(picture: Float64Array, from: number, to: number): number {
  const truth = scene();
  let [both, own] = [0, 0];
  for (let x = 16; x < size.width - 16; x++) {
    const apart = Math.abs(placeOf(x) - Math.round(placeOf(x)));
    if (apart < from || apart > to) continue;
    for (let y = 16; y < size.height - 16; y++) {
      const i = y * size.width + x;
      both += (picture[i] - 128) * (truth[i] - 128);
      own += (truth[i] - 128) ** 2;
    }
  }
  return both / own;
}

it('detail halfway between two planes of focus is as crisp as on one of them where auto restores it', async () => {
  const [auto, weigh] = [await merge('auto'), await merge('weigh')];
  // Both frames show it through a disc of half a frame's blur, which their mean cannot better.
  const mean = waves.reduce((sum, { f }) => sum + discResponse(f, blurPx / 2) / waves.length, 0);
  expect(contrast(weigh, 0.4, 0.5)).toBeLessThan(mean + 0.03);
  expect(contrast(auto, 0.4, 0.5)).toBeGreaterThan(mean + 0.08);
  expect(contrast(auto, 0.4, 0.5) / contrast(auto, 0, 0.1)).toBeGreaterThan(0.97);
  for (const from of [0, 0.1, 0.2, 0.3, 0.4]) expect(contrast(auto, from, from + 0.1)).toBeLessThan(1.03);
});

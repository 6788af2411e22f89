import { expect, it } from 'vitest';
import { edgeField, FusionQuality } from '../quality/metrics/fusion-quality.js';
import { mergeDrawn } from './merge-drawn.js';

const size = { width: 192, height: 128 };
const { width, height } = size;
const pixels = width * height;

/** Noise of a few px in size, 0 to 255, repeated over the borders. */
function texture(): Float64Array {
  let state = 7;
  const raw = Float64Array.from({ length: pixels }, () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return 128 + (state / 2 ** 32 - 0.5) * 900;
  });
  return blurred(raw, 1).map((value) => Math.min(235, Math.max(20, value)));
}

/** Box blur of (2 radius + 1)², three times over. */
function blurred(plane: Float64Array, radius: number): Float64Array {
  let from = plane;
  for (let pass = 0; pass < 3; pass++) {
    const to = new Float64Array(pixels);
    for (let y = 0; y < height; y++) {
      for (let x = 0; x < width; x++) {
        let sum = 0;
        for (let v = -radius; v <= radius; v++) {
          for (let u = -radius; u <= radius; u++) {
            sum += from[((y + v + height) % height) * width + ((x + u + width) % width)];
          }
        }
        to[y * width + x] = sum / (2 * radius + 1) ** 2;
      }
    }
    from = to;
  }
  return from;
}

/** Two frames, one sharp within a disc, one about it, with a little noise. */
function pair(): [Uint8Array, Uint8Array] {
  const sharp = texture();
  const soft = blurred(sharp, 2);
  let state = 3;
  const frame = (isSharp: (inside: boolean) => boolean) =>
    Uint8Array.from({ length: pixels * 3 }, (_, i) => {
      const at = Math.floor(i / 3);
      const inside = Math.hypot((at % width) - 90, Math.floor(at / width) - 66) < 42;
      state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
      return (isSharp(inside) ? sharp : soft)[at] + (state / 2 ** 32 - 0.5) * 6;
    });
  return [frame((inside) => inside), frame((inside) => !inside)];
}

const lumaOf = (rgb: Uint8Array) => Float32Array.from({ length: pixels }, (_, i) => rgb[3 * i + 1]);

it('of two frames alone, auto keeps as much of the edges of both as select does', async () => {
  const frames = pair();
  // Q_AB/F of Xydeas & Petrović 2000.
  const quality = async (rule: 'auto' | 'select') => {
    const merged = await mergeDrawn(frames, size, rule, 1, () => ({ blurPx: undefined, lost: 0 }));
    const fusion = new FusionQuality(lumaOf(merged), new Uint8Array(pixels).fill(1), width, height);
    for (const frame of frames) fusion.addSource(edgeField(lumaOf(frame), width, height));
    return fusion.value();
  };
  const [auto, select] = [await quality('auto'), await quality('select')];
  expect(auto).toBeGreaterThanOrEqual(select);
});

it('identical frames are kept as well as the measure can tell', () => {
  const [frame] = pair();
  const fusion = new FusionQuality(lumaOf(frame), new Uint8Array(pixels).fill(1), width, height);
  for (let i = 0; i < 2; i++) fusion.addSource(edgeField(lumaOf(frame), width, height));
  // The paper's sigmoids end at 0.9994 / (1 + e^-7.5) and 0.9879 / (1 + e^-4.4), not at 1.
  expect(fusion.value()).toBeCloseTo((0.9994 / (1 + Math.exp(-7.5))) * (0.9879 / (1 + Math.exp(-4.4))), 6);
});

import { describe, expect, it } from 'vitest';
import { fillBehind } from '../../samples/fill-behind.js';
import { drawSurface, type SceneSize } from '../../samples/scene.js';
import { depthFromDisparity, photoScene } from '../../samples/scenes/photo.js';

const size: SceneSize = { width: 40, height: 30, margin: 8, spanSteps: 10, nearSteps: 5 };
const across = size.width + 2 * size.margin;
const at = (x: number, y: number) => (y + size.margin) * across + x + size.margin;

describe('photo scene', () => {
  it('spreads disparities over the middle of the stack, the greatest nearest', () => {
    const depth = depthFromDisparity([0, 40, 90, 140], 26, 24);
    expect(depth[0]).toBeNaN();
    expect(Array.from(depth.subarray(1))).toEqual([24.5, 12.5, 0.5]);
  });

  it('takes unknown depths from the farther side and marks them', () => {
    const depth = new Float32Array(40 * 30);
    for (let i = 0; i < depth.length; i++) depth[i] = i % 40 < 20 ? 2 : 9;
    for (let y = 0; y < 30; y++) depth.fill(Number.NaN, y * 40 + 17, y * 40 + 22);
    const scene = photoScene(size, {
      width: 40,
      height: 30,
      rgb: new Uint8Array(40 * 30 * 3).fill(128),
      depth,
    });
    const [surface] = scene.surfaces;
    for (let x = 17; x < 22; x++) {
      expect(surface.depth[at(x, 12)]).toBe(9 - size.nearSteps);
      expect(scene.known?.[12 * 40 + x]).toBe(0);
    }
    expect(surface.depth[at(16, 12)]).toBe(2 - size.nearSteps);
    expect(scene.known?.[12 * 40 + 16]).toBe(255);
  });

  it('lets the farther side of a depth edge go on behind the nearer one, and only there', () => {
    const surface = drawSurface(size, (x, _y, out) => {
      out[0] = x < 20 ? 0.2 : 0.5 + 0.01 * x;
      out[3] = 1;
      out[4] = x < 20 ? -3 : 2 + 0.05 * x;
    });
    const fill = fillBehind(surface, size, 6);
    expect(fill.rgba[4 * at(18, 10) + 3]).toBe(1);
    expect(fill.depth[at(18, 10)]).toBeCloseTo(3, 5);
    // Mirrored at the first pixel of the farther side: 18 shows 22.
    expect(fill.rgba[4 * at(18, 10)]).toBeCloseTo(0.72, 5);
    expect(fill.rgba[4 * at(12, 10) + 3]).toBe(0);
    expect(fill.rgba[4 * at(28, 10) + 3]).toBe(0);
  });

  it('takes a slope for one surface', () => {
    const slope = drawSurface(size, (x, _y, out) => {
      out[3] = 1;
      out[4] = x * 0.4;
    });
    const fill = fillBehind(slope, size, 6);
    expect(fill.rgba.some((value) => value > 0)).toBe(false);
  });
});

import { describe, expect, test } from 'vitest';
import { focusCurves } from '../../src/rail/focus-curves.js';
import { fitFocus } from '../../src/rail/focus-fit.js';
import { madeCurves, range, spread } from './made-curves.js';

describe('tiles under the blur of a lens', () => {
  test('are placed where they are in focus', () => {
    const tiles = spread(200, 2, 17);
    const fit = fitFocus(focusCurves(madeCurves({ frames: range(20), tiles })), range(20));
    const errors = fit.tiles.flatMap((focus, i) => (focus ? [Math.abs(focus.position - tiles[i])] : []));
    expect(errors.length).toBeGreaterThan(150);
    errors.sort((p, q) => p - q);
    expect(errors[Math.floor(errors.length / 2)]).toBeLessThan(0.15);
    expect(errors[Math.floor(0.95 * errors.length)]).toBeLessThan(0.5);
  });

  test('have curves half as wide, in steps, when the steps are twice as long', () => {
    const widthAt = (blurPerStepPx: number) =>
      fitFocus(
        focusCurves(madeCurves({ frames: range(20), tiles: spread(300, 2, 17), blurPerStepPx })),
        range(20),
      ).width;
    expect(widthAt(1.2) / widthAt(2.4)).toBeCloseTo(2, 0);
  });

  test('that lie beyond an end are placed beyond it, those before it are not', () => {
    const frames = range(14);
    const tiles = [...spread(60, -3, -1.8), ...spread(60, 0.2, 1), ...spread(200, 2, 12)];
    const fit = fitFocus(focusCurves(madeCurves({ frames, tiles })), frames);
    const beyond = (from: number, to: number) => {
      const own = fit.tiles.slice(from, to).filter((focus) => focus !== undefined);
      return own.filter((focus) => focus.position < -0.75).length / own.length;
    };
    expect(beyond(0, 60)).toBeGreaterThan(0.85);
    expect(beyond(60, 120)).toBeLessThan(0.05);
  });

  test('that no longer get sharper at an end are in focus about there', () => {
    const frames = range(10);
    const tiles = spread(200, 8.6, 9.4);
    const curves = focusCurves(madeCurves({ frames, tiles, blurPerStepPx: 0.8 }));
    const fit = fitFocus(curves, frames).tiles.filter((focus) => focus !== undefined);
    expect(fit.length).toBeGreaterThan(100);
    expect(fit.filter((focus) => focus.position > 9.75).length / fit.length).toBeLessThan(0.05);
  });

  test('beyond an end are placed by how the curves of the stack itself fall off', () => {
    // As the curves of tiles of a rendered slope fall off, every quarter of a step: less than the model's about the peak, and
    // beyond as the distance to the power -3, as the envelope of a disc's contrast squared.
    const measured = [0, 0.1, 0.25, 0.45, 0.7, 1, 1.33, 1.65, 1.95, 2.3, 2.6, 2.9, 3.2];
    const farthest = measured.length - 1;
    const falloff = (apart: number) => {
      const at = 4 * Math.abs(apart);
      if (at >= farthest) return -measured[farthest] - 3 * Math.log(at / farthest);
      const bin = Math.floor(at);
      return -measured[bin] - (at - bin) * (measured[bin + 1] - measured[bin]);
    };
    const frames = 7;
    const places = spread(300, -2.4, 8.4);
    const noise = 1;
    const level = Float32Array.from({ length: places.length * frames }, (_, i) => {
      const apart = (i % frames) - places[Math.floor(i / frames)];
      return Math.max(Math.log(noise / 2), 5 + falloff(apart));
    });
    const curves = { columns: 20, rows: 15, tilePx: 16, frames, level, noise, floor: Math.log(noise / 2) };
    const errors = fitFocus(curves, range(frames)).tiles.flatMap((focus, i) => {
      const isBeyond = places[i] < -0.4 || places[i] > 6.4;
      return focus && isBeyond ? [Math.abs(focus.position - places[i])] : [];
    });
    expect(errors.length).toBeGreaterThan(60);
    errors.sort((p, q) => p - q);
    expect(errors[Math.floor(errors.length / 2)]).toBeLessThan(0.3);
    expect(errors[Math.floor(0.9 * errors.length)]).toBeLessThan(0.6);
  });

  test('beyond an end of a stack of few frames are placed beyond it', () => {
    for (const frames of [6, 7]) {
      for (const [blurPerStepPx, seed] of [
        [1.2, 4],
        [1.2, 6],
        [1.6, 5],
        [1.6, 9],
      ]) {
        const tiles = [...spread(80, -2.6, -1.4), ...spread(300, 0.5, frames - 1.5)];
        const curves = focusCurves(madeCurves({ frames: range(frames), tiles, blurPerStepPx, seed }));
        const own = fitFocus(curves, range(frames))
          .tiles.slice(0, 80)
          .filter((focus) => focus !== undefined);
        expect(own.filter((focus) => focus.position < -1).length / own.length).toBeGreaterThan(0.9);
      }
    }
  });

  test('that are fitted alone are placed as among all, where the others are known', () => {
    const frames = 8;
    const positions = range(frames);
    const curves = focusCurves(madeCurves({ frames: positions, tiles: spread(300, -2.4, 9.4) }));
    const { tiles } = fitFocus(curves, positions);
    const isInner = (tile: number) => tiles[tile] !== undefined && tiles[tile].best > 0;
    const inner = range(tiles.length).filter(isInner);
    const settled = new Map(inner.map((tile) => [tile, tiles[tile]]));
    expect(inner.length).toBeLessThan(tiles.length);
    expect(fitFocus(curves, positions, settled).tiles).toEqual(tiles);
    // And elsewhere, where nothing is known of the others.
    const unknown = new Map(inner.map((tile) => [tile, undefined]));
    const alone = fitFocus(curves, positions, unknown).tiles;
    expect(alone.some((fit, tile) => !isInner(tile) && fit?.position !== tiles[tile]?.position)).toBe(true);
  });

  test('without detail are given no position', () => {
    const curves = madeCurves({ frames: range(12), tiles: spread(40, 2, 9), loss: () => 0 });
    expect(fitFocus(focusCurves(curves), range(12)).tiles.filter((focus) => focus)).toHaveLength(0);
  });
});

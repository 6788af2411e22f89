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

  test('without detail are given no position', () => {
    const curves = madeCurves({ frames: range(12), tiles: spread(40, 2, 9), loss: () => 0 });
    expect(fitFocus(focusCurves(curves), range(12)).tiles.filter((focus) => focus)).toHaveLength(0);
  });
});

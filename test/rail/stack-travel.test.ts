import { expect, test } from 'vitest';
import type { DetailGrid } from '../../src/rail/detail-grid.js';
import { stackTravel } from '../../src/rail/stack-travel.js';
import { madeCurves, range, spread } from './made-curves.js';
import { stillMotion } from './still-motion.js';

const side = 20;
const cellPx = 16;
const size = { width: side * cellPx, height: side * cellPx };
const made = madeCurves({ frames: range(14), tiles: spread(side * side, 0.5, 12.5) });

/** A frame's detail in light that makes its encoded values so many times as bright. */
function gridOf(frame: number, factor: number): DetailGrid {
  const energy = Float32Array.from({ length: side * side * 4 }, (_, i) => {
    const cell = Math.floor(i / 4);
    return factor ** 2 * made.energy[(cell * made.frames + frame) * 4 + (i % 4)];
  });
  return { columns: side, rows: side, cellPx, energy, light: new Float32Array(side * side).fill(120) };
}

test.each([1, 6, 13])('frame %i, a third darker, is no longer step and no blur', (dark) => {
  const factor = (frame: number) => (frame === dark ? 0.67 : 1);
  const grids = range(14).map((k) => gridOf(k, factor(k)));
  const motions = range(14).map((k) => stillMotion(k + 1, { gainRatio: new Array(3).fill(1 / factor(k)) }));
  const { travel, blurred } = stackTravel(grids, motions, size, 1);
  const even = stackTravel(
    range(14).map((k) => gridOf(k, 1)),
    range(14).map((k) => stillMotion(k + 1)),
    size,
    1,
  );
  for (const [k, step] of travel.steps.entries()) expect(step).toBeCloseTo(even.travel.steps[k], 1);
  expect([...blurred]).toEqual([...even.blurred]);
});

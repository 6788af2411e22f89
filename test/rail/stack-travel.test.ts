import { expect, test } from 'vitest';
import { cellsPerTile } from '../../src/model/constants/rail.js';
import type { DetailGrid } from '../../src/rail/detail-grid.js';
import { stackTravel } from '../../src/rail/stack-travel.js';
import { madeCurves, range, spread } from './made-curves.js';
import { stillMotion } from './still-motion.js';

const side = 20;
const cells = side * cellsPerTile;
const cellPx = 8;
const size = { width: cells * cellPx, height: cells * cellPx };
const made = madeCurves({ frames: range(14), tiles: spread(side * side, 0.5, 12.5) });

/** A frame's detail in light that makes its encoded values so many times as bright. */
function gridOf(frame: number, factor: number): DetailGrid {
  const energy = new Float32Array(cells * cells * 4);
  for (let cell = 0; cell < cells * cells; cell++) {
    const [column, row] = [cell % cells, Math.floor(cell / cells)].map((at) => Math.floor(at / cellsPerTile));
    const at = ((row * side + column) * made.frames + frame) * 4;
    for (let d = 0; d < 4; d++) energy[cell * 4 + d] = factor ** 2 * made.energy[at + d];
  }
  return { columns: cells, rows: cells, cellPx, energy, light: new Float32Array(cells * cells).fill(120) };
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

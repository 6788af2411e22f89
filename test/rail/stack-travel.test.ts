import { expect, test } from 'vitest';
import type { DetailGrid } from '../../src/rail/detail-grid.js';
import { stackTravel } from '../../src/rail/stack-travel.js';
import { madeCurves, range, spread } from './made-curves.js';
import { stillMotion } from './still-motion.js';

const side = 20;
const cellPx = 16;
const size = { width: side * cellPx, height: side * cellPx };

/** Detail of frames of which each shows its texture so many times as bright, in the same noise: encoded values. */
function gridsOf(factors: readonly number[]): DetailGrid[] {
  const tiles = spread(side * side, 0.5, 12.5);
  const made = madeCurves({ frames: range(14), tiles, loss: (frame) => factors[frame] ** 2 });
  return factors.map((_, frame) => {
    const energy = Float32Array.from({ length: side * side * 4 }, (_, i) => {
      const cell = Math.floor(i / 4);
      return made.energy[(cell * made.frames + frame) * 4 + (i % 4)];
    });
    return { columns: side, rows: side, cellPx, energy, light: new Float32Array(side * side).fill(120) };
  });
}

/** The stack in light by which each frame's encoded values are so many times as bright. */
function travelIn(factors: readonly number[]) {
  const motions = factors.map((factor, k) =>
    stillMotion(k + 1, { gainRatio: new Array(3).fill(1 / factor) }),
  );
  return stackTravel(gridsOf(factors), motions, size, 1);
}

const even = travelIn(new Array(14).fill(1));
const stop = 2 ** (1 / 2.2);

test.each([
  ['frame 1 a third darker', range(14).map((k) => (k === 1 ? 0.67 : 1))],
  ['frame 6 a third darker', range(14).map((k) => (k === 6 ? 0.67 : 1))],
  ['frame 13 a third darker', range(14).map((k) => (k === 13 ? 0.67 : 1))],
  ['every second frame a stop darker', range(14).map((k) => (k % 2 === 1 ? 1 / stop : 1))],
  ['every second frame a stop brighter', range(14).map((k) => (k % 2 === 1 ? stop : 1))],
])('%s is no longer step, no blur and no noise', (_, factors) => {
  const { travel, blurred, curves } = travelIn(factors);
  for (const [k, step] of travel.steps.entries()) {
    expect(Math.abs(step - even.travel.steps[k])).toBeLessThan(0.1);
  }
  expect([...blurred]).toEqual([...even.blurred]);
  expect(Math.abs(curves.noise / even.curves.noise - 1)).toBeLessThan(0.1);
});

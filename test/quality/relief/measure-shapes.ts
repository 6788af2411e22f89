import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { merge } from '../../../src/index.js';
import { leastSquares } from '../../../src/measure/least-squares.js';
import { measureResult } from '../../../src/measure/measure-result.js';
import { makeRelief } from '../../../src/relief/relief.js';
import type { MeasureRequest, Quantity } from '../../../src/result/measures-file.js';
import { readByThree } from '../../relief/read-mesh.js';
import { renderShape, type Shape, stepMm, truth } from './shapes.js';

/** A size as it was measured on a merged stack, against the size that was rendered. */
export interface ShapeFigure {
  what: string;
  unit: 'mm' | '°';
  truth: number;
  /** Error up to which it counts as right. */
  within: number;
  found: number;
  /** What the measure itself states, twice its standard uncertainty; undefined where none is stated. */
  uncertainty?: number;
}

/** Renders a stack of a shape, merges it as a user would, and measures the result and its relief. */
export async function measureShape(shape: Shape): Promise<ShapeFigure[]> {
  const work = await mkdtemp(join(tmpdir(), 'lamella-shape-'));
  try {
    const stack = await renderShape(shape, join(work, 'frames'));
    const folder = join(work, 'merged');
    await merge(stack.folder, { out: folder, ...stack.merge });
    const out = join(work, 'relief.ply');
    await makeRelief(folder, { out });
    const { points } = readByThree(out);
    const relief = Array.from({ length: points.length / 3 }, (_, i): Point => {
      const [x, y, z] = points.subarray(3 * i, 3 * i + 3);
      return [x - stack.axisMm[0], y - stack.axisMm[1], z];
    });
    return await figuresOf[shape.name](folder, relief);
  } finally {
    await rm(work, { recursive: true });
  }
}

/** mm from where the axis of the shape meets the anchor's plane of focus: x right, y up, z towards the camera. */
type Point = [x: number, y: number, z: number];

const figuresOf: Record<Shape['name'], (folder: string, relief: readonly Point[]) => Promise<ShapeFigure[]>> =
  {
    async sphere(folder, relief) {
      const goal = { unit: 'mm', truth: truth.radiusMm, within: 0.01 * truth.radiusMm } as const;
      const region = { kind: 'rectangle', x: 20, y: 16, width: 160, height: 160 } as const;
      const [measured] = await quantitiesOf(folder, { kind: 'sphere', region });
      const cap = relief.filter(([x, y]) => Math.hypot(x, y) < 0.32);
      // |p|² = 2 p c + (r² - |c|²): linear in c and the last.
      const [cx, cy, cz, rest] = leastSquares(
        cap.map(([x, y, z]) => [2 * x, 2 * y, 2 * z, 1, x * x + y * y + z * z]),
      )!;
      return [
        { what: 'radius of the sphere, measured', ...goal, ...figureOf(measured) },
        {
          what: 'radius of the sphere, relief',
          ...goal,
          found: Math.sqrt(rest + cx * cx + cy * cy + cz * cz),
        },
      ];
    },

    async cone(_folder, relief) {
      const goal = { unit: '°', truth: truth.coneDegrees, within: 0.5 } as const;
      // Off the tip, which depth rounds over the width that focus is measured in, and within the frames' travel.
      const flank = relief.filter(([x, y]) => Math.hypot(x, y) > 0.12 && Math.hypot(x, y) < 0.34);
      const [fall] = leastSquares(flank.map(([x, y, z]) => [Math.hypot(x, y), 1, z]))!;
      return [
        { what: 'angle of the cone, relief', ...goal, found: (2 * Math.atan(-1 / fall) * 180) / Math.PI },
      ];
    },

    async step(folder, relief) {
      const goal = { unit: 'mm', truth: truth.stepHeightMm, within: 0.1 * stepMm } as const;
      const lines: ShapeFigure[] = [];
      for (const y of [20, 40, 60, 80, 100]) {
        const [measured] = await quantitiesOf(folder, {
          kind: 'step-height',
          points: [
            [10, y],
            [190, y],
          ],
        });
        lines.push({ what: '', ...goal, ...figureOf(measured) });
      }
      const mean = (values: readonly number[]) =>
        values.reduce((sum, value) => sum + value, 0) / values.length;
      const level = (side: number) =>
        mean(relief.filter(([x]) => side * x > 0.05 && side * x < 0.36).map(([, , z]) => z));
      return [
        {
          what: 'height of the step, mean of five lines',
          ...goal,
          found: mean(lines.map(({ found }) => found)),
          uncertainty: mean(lines.map(({ uncertainty }) => uncertainty!)),
        },
        { what: 'height of the step, relief', ...goal, found: level(-1) - level(1) },
      ];
    },

    async sine(folder, relief) {
      const { sineMm, waveMm } = truth;
      const cutoff = { value: 0.4, unit: 'mm' } as const;
      // What the Gaussian filter of ISO 16610-21 leaves of a wave: 1 - exp(-pi (alpha c / wave)²).
      const passed = 1 - Math.exp(-Math.LN2 * (cutoff.value / waveMm) ** 2);
      // Three whole waves of it are evaluated: half a cut-off is lost at every end.
      const region = { kind: 'rectangle', x: 21, y: 21, width: 310, height: 310 } as const;
      const [measured] = await quantitiesOf(folder, { kind: 'roughness', region, cutoff });
      const sa = (2 * sineMm * passed) / Math.PI;
      const wave = relief.filter(([x, y]) => Math.abs(x) < 0.56 && Math.abs(y) < 0.6);
      const [sine, cosine] = leastSquares(
        wave.map(([x, , z]) => [
          Math.sin((2 * Math.PI * x) / waveMm),
          Math.cos((2 * Math.PI * x) / waveMm),
          1,
          z,
        ]),
      )!;
      return [
        { what: 'Sa of the sine', unit: 'mm', truth: sa, within: 0.05 * sa, ...figureOf(measured) },
        {
          what: 'amplitude of the sine, relief',
          unit: 'mm',
          truth: sineMm,
          within: 0.05 * sineMm,
          found: Math.hypot(sine, cosine),
        },
      ];
    },
  };

async function quantitiesOf(folder: string, request: MeasureRequest): Promise<Quantity[]> {
  const [{ quantities }] = await measureResult(folder, [request]);
  return quantities;
}

function figureOf({ value, uncertainty }: Quantity): Pick<ShapeFigure, 'found' | 'uncertainty'> {
  return { found: value ?? Number.NaN, uncertainty: uncertainty ?? Number.NaN };
}

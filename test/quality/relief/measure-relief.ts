import { join } from 'node:path';
import { leastSquares } from '../../../src/measure/least-squares.js';
import { makeRelief } from '../../../src/relief/relief.js';
import { relativeSide, resultScale } from '../../../src/relief/scale.js';
import { readRunRecord } from '../../../src/result/read-run-record.js';
import { readByThree } from '../../relief/read-mesh.js';
import { median } from '../metrics/statistics.js';
import type { Scene } from '../scene.js';

/** How far the relief of a merged scene lies from the depth that the scene was rendered with. */
export interface ReliefFigures {
  /** Points of the relief that are judged: see `Scene.textured`. */
  points: number;
  /** Median of the absolute error, steps of the rail. */
  medianSteps: number;
  /** Share of the points that lie more than a step off, percent. */
  offPercent: number;
  /** Depth of the relief over that of the scene, by least squares of the others: 1 where lengths in depth are true. */
  slope: number;
}

/**
 * Compares the relief of a result with the true depth of its scene; of a photograph that is the disparity that was measured
 * with it. Every point is looked up where the picture shows it.
 *
 * @param folder Result, merged with the step and the field width of the scene.
 * @param work Folder for the relief.
 */
export async function measureRelief(scene: Scene, folder: string, work: string): Promise<ReliefFigures> {
  const { width, height, stepMm } = scene.record;
  const out = join(work, 'relief.ply');
  await makeRelief(folder, { out, triangles: 2_000_000, overwrite: true });
  const { points } = readByThree(out);
  const scale = resultScale(await readRunRecord(folder));
  const errors: number[] = [];
  const pairs: [truth: number, one: number, found: number][] = [];
  for (let i = 0; i < points.length; i += 3) {
    const depthMm = -points[i + 2];
    const side = scale.mmPerPixel! * relativeSide(scale, depthMm);
    // Vertices lie at the corners of pixels.
    const x = Math.floor(scale.centre.x + points[i] / side + 1);
    const y = Math.floor(scale.centre.y - points[i + 1] / side + 1);
    if (!(x >= 0 && y >= 0 && x < width && y < height)) continue;
    const at = y * width + x;
    // Where the picture shows texture, off depth edges, within the frames' travel: where depth can be asked for.
    if (!scene.textured[at]) continue;
    const found = depthMm / stepMm;
    const truth = scene.depth[at];
    errors.push(Math.abs(found - truth));
    if (Math.abs(found - truth) <= 1) pairs.push([truth, 1, found]);
  }
  return {
    points: errors.length,
    medianSteps: median(errors),
    offPercent: (100 * (errors.length - pairs.length)) / errors.length,
    slope: leastSquares(pairs)?.[0] ?? Number.NaN,
  };
}

import { join } from 'node:path';
import { expect, it } from 'vitest';
import { makeRelief } from '../../src/relief/relief.js';
import { temporaryFolder } from '../result/temporary-folder.js';
import { type MadeScene, writeMadeResult } from './made-result.js';
import { readByThree } from './read-mesh.js';

/** A camera near enough that its perspective changes the size of things by a tenth over their depth. */
const camera = { width: 160, height: 120, pixelMm: 0.02, stepMm: 0.05, distanceMm: 12 };

/** Vertices of a scene's relief, mm: x right, y up, z towards the camera. */
async function pointsOf(scene: MadeScene, triangles = 100_000): Promise<[number, number, number][]> {
  const folder = temporaryFolder();
  await writeMadeResult(folder, scene);
  const out = join(temporaryFolder(), 'relief.ply');
  await makeRelief(folder, { out, triangles });
  const { points } = readByThree(out);
  return Array.from({ length: points.length / 3 }, (_, i) => [
    points[3 * i],
    points[3 * i + 1],
    points[3 * i + 2],
  ]);
}

/** Least squares of rows * unknowns = values, by the normal equations and Gauss-Jordan. */
function solve(rows: number[][], values: number[]): number[] {
  const n = rows[0].length;
  const system = Array.from({ length: n }, (_, i) => [
    ...Array.from({ length: n }, (_, j) => rows.reduce((sum, row) => sum + row[i] * row[j], 0)),
    rows.reduce((sum, row, k) => sum + row[i] * values[k], 0),
  ]);
  for (let i = 0; i < n; i++) {
    for (let j = 0; j < n; j++) {
      if (j === i) continue;
      const factor = system[j][i] / system[i][i];
      for (let k = 0; k <= n; k++) system[j][k] -= factor * system[i][k];
    }
  }
  return system.map((row, i) => row[n] / row[i]);
}

it.each([100_000, 3000])('a sphere has its radius within 1 %, with %i triangles', async (triangles) => {
  const radius = 1;
  const centre = [0.15, -0.1, 0.6];
  const points = await pointsOf(
    {
      ...camera,
      depthMm(x, y) {
        const beside = Math.hypot(x - centre[0], y - centre[1]);
        return beside < 0.93 * radius ? centre[2] - Math.sqrt(radius ** 2 - beside ** 2) : Number.NaN;
      },
    },
    triangles,
  );
  // |p|^2 = 2 p c + (r^2 - |c|^2): linear in c and the last.
  const [cx, cy, cz, rest] = solve(
    points.map(([x, y, z]) => [2 * x, 2 * y, 2 * z, 1]),
    points.map(([x, y, z]) => x * x + y * y + z * z),
  );
  expect(Math.sqrt(rest + cx * cx + cy * cy + cz * cz)).toBeCloseTo(radius, 2);
  expect(cx).toBeCloseTo(centre[0], 2);
  expect(cy).toBeCloseTo(-centre[1], 2);
  expect(cz).toBeCloseTo(-centre[2], 2);
});

it('a cone has its angle within half a degree', async () => {
  const angle = 50;
  const slope = 1 / Math.tan((angle * Math.PI) / 180);
  const points = await pointsOf({ ...camera, depthMm: (x, y) => slope * Math.hypot(x, y) - 0.5 });
  const flank = points.filter(([x, y]) => Math.hypot(x, y) > 0.2 && Math.hypot(x, y) < 1);
  const [fall] = solve(
    flank.map(([x, y]) => [Math.hypot(x, y), 1]),
    flank.map(([, , z]) => z),
  );
  expect(Math.abs((Math.atan(-1 / fall) * 180) / Math.PI - angle)).toBeLessThan(0.5);
});

it('a step has its height within a tenth of a step of the rail, and no wall', async () => {
  const height = 0.13;
  const points = await pointsOf({ ...camera, depthMm: (x) => (x < 0.1 ? -height : 0) });
  const levels = points.map(([, , z]) => z);
  const upper = levels.filter((z) => z > height / 2);
  const lower = levels.filter((z) => z <= height / 2);
  const mean = (values: number[]) => values.reduce((sum, value) => sum + value, 0) / values.length;
  expect(Math.abs(mean(upper) - mean(lower) - height)).toBeLessThan(0.1 * camera.stepMm);
  for (const z of upper) expect(z).toBeCloseTo(height, 5);
  for (const z of lower) expect(z).toBeCloseTo(0, 5);
});

it('a sine has its amplitude and its wavelength', async () => {
  const [amplitude, waveMm] = [0.1, 0.8];
  const points = await pointsOf({
    ...camera,
    depthMm: (x) => amplitude * Math.sin((2 * Math.PI * x) / waveMm),
  });
  const [sine, cosine] = solve(
    points.map(([x]) => [Math.sin((2 * Math.PI * x) / waveMm), Math.cos((2 * Math.PI * x) / waveMm)]),
    points.map(([, , z]) => -z),
  );
  expect(sine).toBeGreaterThan(0.98 * amplitude);
  expect(sine).toBeLessThan(1.02 * amplitude);
  expect(Math.abs(cosine)).toBeLessThan(0.02 * amplitude);
});

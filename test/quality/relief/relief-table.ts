import { join } from 'node:path';
import { merge } from '../../../src/index.js';
import { readScene } from '../scene.js';
import { sceneFolder, sceneRecipes } from '../scenes.js';
import { measureRelief } from './measure-relief.js';
import { measureShape } from './measure-shapes.js';
import { shapes } from './shapes.js';

/** Photographs whose depth was measured by others: Middlebury 2006 and 2014. */
const photographs = ['aloe', 'motorcycle'];

export const reliefLegend = `Merged stacks of bodies of known size, measured by "lamella measure" and on the relief; then the reliefs of two photographs
against the disparities that were measured with them: median error, share of the points that are more than a step off, and
depth over true depth of the others.`;

/** Measures all, and tells each line as soon as it is there. Resolves to whether every size is right. */
export async function measureReliefs(workDir: string, tell: (line: string) => void): Promise<boolean> {
  let isRight = true;
  for (const shape of shapes) {
    for (const { what, unit, truth, within, found, uncertainty } of await measureShape(shape)) {
      const error = Math.abs(found - truth);
      if (!(error <= within)) isRight = false;
      const stated = uncertainty === undefined ? '' : `, states +- ${uncertainty.toPrecision(2)}`;
      tell(
        `${what}: ${found.toPrecision(4)} ${unit} for ${truth.toPrecision(4)}, off by ${error.toPrecision(2)} of ${within.toPrecision(2)}${stated}`,
      );
    }
  }
  for (const recipe of sceneRecipes.filter(({ name }) => photographs.includes(name))) {
    const { name } = recipe;
    const folder = await sceneFolder(recipe);
    if ('skipped' in folder) {
      tell(folder.skipped);
      continue;
    }
    const scene = await readScene(folder.dir);
    const { anchor, stepMm, fieldWidthMm } = scene.record;
    const out = join(workDir, `${name}-relief`);
    const lengths = { stepMm, ...(fieldWidthMm !== undefined && { fieldWidthMm }) };
    await merge(join(folder.dir, 'frames'), { out, anchor, crop: 'anchor', ...lengths, overwrite: true });
    const { points, medianSteps, offPercent, slope } = await measureRelief(scene, out, workDir);
    tell(
      `${name}: ${medianSteps.toFixed(3)} steps, ${offPercent.toFixed(1)} % off, depth ${slope.toFixed(4)} of the true one, ${points} points`,
    );
  }
  return isRight;
}

import { createHash } from 'node:crypto';
import { existsSync } from 'node:fs';
import { mkdir, readdir, readFile, rename, rm } from 'node:fs/promises';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import sharp from 'sharp';
import { type RenderOptions, renderScene, sceneDefaults } from '../../samples/render-scene.js';
import { depthFromDisparity, type Photo } from '../../samples/scenes/photo.js';
import { cacheDir, depthPhotograph, type PhotographName, photographPackages } from './data.js';
import { hasPovray, type RaytracedOptions, renderRaytraced } from './raytraced/render-raytraced.js';

/** A scene of the quality tables: how our own renderer draws it, of which photograph, or how POV-Ray traces it. */
export type SceneRecipe = {
  name: string;
  /** Thresholds are set on the scenes for tuning; the scenes for judging have other subjects, seeds, lenses and noise. */
  use: 'tuning' | 'judging';
} & (
  | { options: Pick<RenderOptions, 'scene'> & Partial<RenderOptions>; photograph?: PhotographName }
  | { raytraced: Pick<RaytracedOptions, 'subject'> & Partial<RaytracedOptions> }
);

/** Irregular travel, jitter, flicker and a shaken frame together try the estimate of motion. */
const badBench = { irregularPercent: 20, blurredFrames: 1 };

export const sceneRecipes: readonly SceneRecipe[] = [
  { name: 'insect-head', use: 'tuning', options: { scene: 'insect-head' } },
  // Detail up to the last pixel is in no frame whole, wherever its pixels fall; this lens blurs half as much as diffraction.
  { name: 'insect-head-lens', use: 'tuning', options: { scene: 'insect-head', lensBlurPx: 0.6 } },
  // Half the steps, so half the blur: what is right beside wide blur may be wrong beside narrow.
  { name: 'insect-head-small-steps', use: 'tuning', options: { scene: 'insect-head', stepPart: 0.35 } },
  { name: 'aloe', use: 'tuning', options: { scene: 'photo' }, photograph: 'aloe' },
  // As blurred as a stack of another hand: the mean of its frames is as far from the truth (27.3 dB).
  {
    name: 'aloe-lens',
    use: 'tuning',
    options: { scene: 'photo', stepPart: 0.525, lensBlurPx: 1 },
    photograph: 'aloe',
  },
  {
    name: 'aloe-small-steps',
    use: 'tuning',
    options: { scene: 'photo', stepPart: 0.35 },
    photograph: 'aloe',
  },
  // Half as wide as the other photograph: with as many frames its blur would be twice as large beside it.
  { name: 'motorcycle', use: 'tuning', options: { scene: 'photo', frames: 16 }, photograph: 'motorcycle' },
  { name: 'tilted-plane', use: 'tuning', options: { scene: 'tilted-plane', frames: 40, ...badBench } },
  { name: 'seed-head', use: 'tuning', options: { scene: 'seed-head' } },
  { name: 'raytraced-insect', use: 'tuning', raytraced: { subject: 'insect' } },
  { name: 'raytraced-solids', use: 'tuning', raytraced: { subject: 'solids', seed: 3 } },
  {
    name: 'insect-head-judged',
    use: 'judging',
    options: { scene: 'insect-head', seed: 5, magnification: 2, fNumber: 8, noise: 2.4 },
  },
  {
    name: 'raytraced-insect-judged',
    use: 'judging',
    raytraced: {
      subject: 'insect',
      seed: 11,
      things: 190,
      focalLengthMm: 60,
      fNumber: 4,
      magnification: 2.2,
      stepPart: 0.6,
      noise: 2.2,
      frames: 34,
      rollDeg: 0.12,
    },
  },
  {
    // So many rays that what is left of their grain is near the noise of the sensor: half an hour of processor time.
    name: 'raytraced-insect-fine-judged',
    use: 'judging',
    raytraced: {
      subject: 'insect',
      seed: 47,
      things: 110,
      width: 420,
      height: 320,
      fNumber: 5,
      magnification: 2,
      frames: 22,
      pixelPitchUm: 9,
      rays: 512,
    },
  },
  {
    name: 'raytraced-crystals-judged',
    use: 'judging',
    raytraced: {
      subject: 'crystals',
      seed: 12,
      things: 60,
      focalLengthMm: 40,
      fNumber: 6.3,
      magnification: 2.7,
      noise: 1.2,
      stepPart: 0.75,
      frames: 28,
    },
  },
];

/** Small scenes, whose figures must not fall below floors: see reduced.test.ts. */
export const reducedRecipes: readonly SceneRecipe[] = [
  {
    name: 'reduced-insect-head',
    use: 'tuning',
    options: { scene: 'insect-head', width: 320, height: 240, frames: 12 },
  },
  {
    name: 'reduced-tilted-plane',
    use: 'tuning',
    options: { scene: 'tilted-plane', width: 320, height: 240, frames: 12, irregularPercent: 20 },
  },
  {
    name: 'reduced-raytraced-insect-judged',
    use: 'judging',
    raytraced: {
      subject: 'insect',
      seed: 21,
      things: 60,
      width: 180,
      height: 136,
      frames: 9,
      pixelPitchUm: 16,
      fNumber: 4,
      noise: 2,
      rays: 64,
    },
  },
];

/** Small scenes for tuning, on which the sensitivity of constants is measured: other subjects and uneven travel too. */
export const sensitivityRecipes: readonly SceneRecipe[] = [
  ...reducedRecipes.filter(({ use }) => use === 'tuning'),
  {
    name: 'reduced-seed-head',
    use: 'tuning',
    options: { scene: 'seed-head', width: 320, height: 240, frames: 16, ...badBench },
  },
];

/**
 * Folder of the rendered scene: from the cache when the options and the generator's sources are the same, else
 * rendered (minutes). Resolves to a sentence that says why when the scene's photograph cannot be had.
 */
export async function sceneFolder(recipe: SceneRecipe): Promise<{ dir: string } | { skipped: string }> {
  const { name } = recipe;
  if ('raytraced' in recipe) {
    const own = await hashFiles(fileURLToPath(new URL('raytraced', import.meta.url)), '');
    const told = JSON.stringify(recipe.raytraced) + own;
    const isKept = existsSync(await cachedPath(name, told));
    if (!isKept && !(await hasPovray())) return { skipped: `skipped: ${name} (needs Debian package povray)` };
    return cachedScene(name, told, (out) => renderRaytraced(recipe.raytraced, out, progress(name)));
  }
  const { options, photograph } = recipe;
  const photo =
    photograph && (await readPhotograph(photograph, options.frames ?? sceneDefaults.photo.frames));
  if (photograph !== undefined && photo === undefined) {
    return { skipped: `skipped: ${name} (needs Debian package ${photographPackages[photograph].package})` };
  }
  return cachedScene(name, JSON.stringify(recipe), async (out) => {
    const report = progress(name);
    await renderScene({ seed: 1, ...options, ...(photo && { photo }), out }, ({ done, frames }) =>
      report(done, frames),
    );
  });
}

function progress(name: string): (done: number, frames: number) => void {
  return (done, frames) => {
    if (done % 10 === 0 || done === frames) console.error(`${name}: rendered ${done} of ${frames} frames`);
  };
}

/** Where a scene lies in the cache once it is rendered. */
async function cachedPath(name: string, told: string): Promise<string> {
  const hash = await hashFiles(fileURLToPath(new URL('../../samples', import.meta.url)), told);
  return join(cacheDir, 'scenes', `${name}-${hash}`);
}

/** Folder of a scene in the cache, rendered when the generator's sources or what it is told have changed. */
async function cachedScene(
  name: string,
  told: string,
  render: (out: string) => Promise<unknown>,
): Promise<{ dir: string }> {
  const dir = await cachedPath(name, told);
  if (existsSync(dir)) return { dir };
  const aside = `${dir}.${process.pid}`;
  try {
    await mkdir(aside, { recursive: true });
    await render(aside);
    // Another process may have been first: it rendered the same.
    await rename(aside, dir).catch((error: unknown) => {
      if (!existsSync(dir)) throw error;
    });
  } finally {
    await rm(aside, { recursive: true, force: true });
  }
  return { dir };
}

/** Hash of every TypeScript source below a folder and of `extra`, 12 hex digits. */
export async function hashFiles(folder: string, extra: string): Promise<string> {
  const hash = createHash('sha256').update(extra);
  const names = (await readdir(folder, { recursive: true })).filter((name) => name.endsWith('.ts')).sort();
  for (const name of names) hash.update(name).update(await readFile(join(folder, name)));
  return hash.digest('hex').slice(0, 12);
}

async function readPhotograph(name: PhotographName, frames: number): Promise<Photo | undefined> {
  const files = await depthPhotograph(name);
  if (files === undefined) return undefined;
  const { data, info } = await sharp(files.photo, { ignoreIcc: true })
    .removeAlpha()
    .toColourspace('srgb')
    .raw()
    .toBuffer({ resolveWithObject: true });
  const map = await sharp(files.disparity).toColourspace('grey16').raw({ depth: 'ushort' }).toBuffer();
  const disparity = new Uint16Array(map.buffer, map.byteOffset, map.byteLength / 2);
  // Half a step of room at both ends of the stack.
  return {
    width: info.width,
    height: info.height,
    rgb: data,
    depth: depthFromDisparity(disparity, frames, frames - 2),
  };
}

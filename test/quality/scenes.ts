import { createHash } from 'node:crypto';
import { existsSync } from 'node:fs';
import { mkdir, readdir, readFile, rename, rm } from 'node:fs/promises';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import sharp from 'sharp';
import { type RenderOptions, renderScene, sceneDefaults } from '../../samples/render-scene.js';
import { depthFromDisparity, type Photo } from '../../samples/scenes/photo.js';
import { cacheDir, depthPhotograph, type PhotographName, photographPackages } from './data.js';

/** A scene of the quality tables: how it is rendered, or of which photograph. */
interface SceneRecipe {
  name: string;
  options: Pick<RenderOptions, 'scene'> & Partial<RenderOptions>;
  photograph?: PhotographName;
}

/** Irregular travel, jitter, flicker and a shaken frame together try the estimate of motion. */
const badBench = { irregularPercent: 20, blurredFrames: 1 };

export const sceneRecipes: readonly SceneRecipe[] = [
  { name: 'insect-head', options: { scene: 'insect-head' } },
  // Detail up to the last pixel is in no frame whole, wherever its pixels fall; this lens blurs half as much as diffraction.
  { name: 'insect-head-lens', options: { scene: 'insect-head', lensBlurPx: 0.6 } },
  // Half the steps, so half the blur: what is right beside wide blur may be wrong beside narrow.
  { name: 'insect-head-small-steps', options: { scene: 'insect-head', stepPart: 0.35 } },
  { name: 'aloe', options: { scene: 'photo' }, photograph: 'aloe' },
  // As blurred as a stack of another hand: the mean of its frames is as far from the truth (27.3 dB).
  {
    name: 'aloe-lens',
    options: { scene: 'photo', stepPart: 0.525, lensBlurPx: 1 },
    photograph: 'aloe',
  },
  { name: 'aloe-small-steps', options: { scene: 'photo', stepPart: 0.35 }, photograph: 'aloe' },
  // Half as wide as the other photograph: with as many frames its blur would be twice as large beside it.
  { name: 'motorcycle', options: { scene: 'photo', frames: 16 }, photograph: 'motorcycle' },
  { name: 'tilted-plane', options: { scene: 'tilted-plane', frames: 40, ...badBench } },
  { name: 'seed-head', options: { scene: 'seed-head' } },
];

/**
 * Folder of the rendered scene: from the cache when the options and the generator's sources are the same, else
 * rendered (minutes). Resolves to a sentence that says why when the scene's photograph cannot be had.
 */
export async function sceneFolder(recipe: SceneRecipe): Promise<{ dir: string } | { skipped: string }> {
  const { name, options, photograph } = recipe;
  const hash = await hashFiles(
    fileURLToPath(new URL('../../samples', import.meta.url)),
    JSON.stringify(recipe),
  );
  const dir = join(cacheDir, 'scenes', `${name}-${hash}`);
  if (existsSync(dir)) return { dir };
  const photo =
    photograph && (await readPhotograph(photograph, options.frames ?? sceneDefaults.photo.frames));
  if (photograph !== undefined && photo === undefined) {
    return { skipped: `skipped: ${name} (needs Debian package ${photographPackages[photograph].package})` };
  }
  const aside = `${dir}.${process.pid}`;
  try {
    await mkdir(aside, { recursive: true });
    await renderScene({ seed: 1, ...options, ...(photo && { photo }), out: aside }, ({ done, frames }) => {
      if (done % 10 === 0 || done === frames) console.error(`${name}: rendered ${done} of ${frames} frames`);
    });
    await rename(aside, dir);
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

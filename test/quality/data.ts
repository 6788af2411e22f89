import { execFile } from 'node:child_process';
import { existsSync } from 'node:fs';
import { mkdir, readdir, readFile, rename, rm } from 'node:fs/promises';
import { basename, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { promisify } from 'node:util';
import sharp from 'sharp';
import { readNpz } from './npz.js';

const run = promisify(execFile);

/** Cache of the project: scenes and fetched data, never committed. */
export const cacheDir = fileURLToPath(new URL('../../.cache', import.meta.url));

/** A photograph with a disparity map of the same size: 8 or 16-bit grey PNG, larger is nearer, 0 = unknown. */
export interface DepthPhotograph {
  photo: string;
  disparity: string;
}

export type PhotographName = 'aloe' | 'motorcycle';

/** Middlebury stereo photographs (2006: aloe, 2014: motorcycle) as two Debian packages carry them. */
export const photographPackages: Record<PhotographName, { package: string; files: [string, string] }> = {
  aloe: {
    package: 'opencv-doc',
    files: [
      'usr/share/doc/opencv-doc/examples/data/aloeL.jpg',
      'usr/share/doc/opencv-doc/examples/data/aloeGT.png',
    ],
  },
  motorcycle: {
    package: 'python3-skimage',
    files: [
      'usr/lib/python3/dist-packages/skimage/data/motorcycle_left.png',
      'usr/lib/python3/dist-packages/skimage/data/motorcycle_disp.npz',
    ],
  },
};

/**
 * The photograph from the cache, fetched with Debian's package tools on first use; no root needed.
 * Resolves to undefined where that is not possible: another system, no package lists, no network.
 */
export async function depthPhotograph(name: PhotographName): Promise<DepthPhotograph | undefined> {
  const wanted = photographPackages[name];
  const dir = join(cacheDir, 'data', name);
  if (!existsSync(dir)) {
    const aside = `${dir}.${process.pid}`;
    try {
      await mkdir(aside, { recursive: true });
      await unpack(wanted.package, wanted.files, aside);
      await rename(aside, dir);
    } catch {
      return undefined;
    } finally {
      await rm(aside, { recursive: true, force: true });
    }
  }
  const [photo, disparity] = wanted.files.map((file) => join(dir, basename(file)));
  return { photo, disparity: disparity.endsWith('.npz') ? await npzToPng(disparity) : disparity };
}

/** Downloads a package into `dir` and leaves there nothing but the named files of it. */
async function unpack(packageName: string, files: readonly string[], dir: string): Promise<void> {
  await run('apt-get', ['download', packageName], { cwd: dir });
  const archive = (await readdir(dir)).find((name) => name.endsWith('.deb'));
  if (archive === undefined)
    throw new Error(`Expected a package file of ${packageName} but none was downloaded`);
  const tree = join(dir, 'tree');
  await run('dpkg-deb', ['-x', join(dir, archive), tree]);
  for (const file of files) await rename(join(tree, file), join(dir, basename(file)));
  await rm(tree, { recursive: true });
  await rm(join(dir, archive));
}

/** Writes the float disparity beside itself as 16-bit PNG, 256 levels a pixel of disparity, unknown = 0. */
async function npzToPng(path: string): Promise<string> {
  const png = path.replace(/\.npz$/, '.png');
  if (existsSync(png)) return png;
  const { shape, data } = Object.values(readNpz(await readFile(path)))[0];
  const levels = Uint16Array.from(data, (value) => (Number.isFinite(value) ? Math.round(value * 256) : 0));
  const aside = `${png}.${process.pid}`;
  await sharp(levels, { raw: { width: shape[1], height: shape[0], channels: 1 } })
    .toColourspace('grey16')
    .png()
    .toFile(aside);
  await rename(aside, png);
  return png;
}

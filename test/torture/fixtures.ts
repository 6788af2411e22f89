import { createHash } from 'node:crypto';
import {
  cpSync,
  lstatSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  readlinkSync,
  rmSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { renderScene } from '../../samples/render-scene.js';
import { runCommand } from './command.js';

/** What the cases are made from; each works on a copy of its own. */
export interface Fixtures {
  /** Four rendered frames of 96 x 64 pixels. */
  stack: string;
  /** Their merge. */
  merged: string;
  /** The same, with a mend. */
  mended: string;
  /** A folder of two stacks, and the results of its batch. */
  week: string;
  weekMerged: string;
  /** An empty folder of its own for a case. */
  makeCase(): string;
  remove(): void;
}

export const mendArgs = ['--add', 'frame=3', '--region', '30,20,24,18', '--feather', '6'] as const;

export async function makeFixtures(): Promise<Fixtures> {
  const root = mkdtempSync(join(tmpdir(), 'lamella-torture-'));
  const scene = join(root, 'scene');
  await renderScene({ scene: 'tilted-plane', out: scene, width: 96, height: 64, frames: 4, seed: 1 });
  const stack = join(root, 'stack');
  cpSync(join(scene, 'frames'), stack, { recursive: true });
  const [merged, mended, week, weekMerged] = ['merged', 'mended', 'week', 'week-merged'].map((name) =>
    join(root, name),
  );
  for (const name of ['ant', 'bee']) cpSync(stack, join(week, name), { recursive: true });
  const succeed = async (...args: string[]): Promise<void> => {
    const { code, stderr } = await runCommand(args);
    if (code !== 0) throw new Error(`The fixtures cannot be made: ${args.join(' ')}: ${stderr}`);
  };
  await succeed('merge', stack, '--out', merged, '--threads', '1');
  cpSync(merged, mended, { recursive: true });
  await succeed('mend', mended, ...mendArgs);
  await succeed('batch', week, '--out', weekMerged, '--threads', '1');
  let made = 0;
  return {
    stack,
    merged,
    mended,
    week,
    weekMerged,
    makeCase() {
      const folder = join(root, `case-${++made}`);
      mkdirSync(folder);
      return folder;
    },
    remove: () => rmSync(root, { recursive: true, force: true, maxRetries: 3 }),
  };
}

/** Files larger than this are sparse: their size must do. */
const mostHashedBytes = 1e8;

/** What lies below a folder by path: the hash of each file, and what else there is by its kind. */
export function digestOf(folder: string): Record<string, string> {
  const found: Record<string, string> = {};
  const visit = (path: string, name: string): void => {
    const entry = lstatSync(path);
    if (entry.isDirectory()) {
      found[name] = 'folder';
      for (const below of readdirSync(path)) visit(join(path, below), `${name}/${below}`);
    } else if (entry.isSymbolicLink()) found[name] = `link ${readlinkSync(path)}`;
    else if (!entry.isFile()) found[name] = 'special';
    else if (entry.size > mostHashedBytes) found[name] = `${entry.size} bytes`;
    else found[name] = createHash('sha256').update(readFileSync(path)).digest('hex');
  };
  visit(folder, '');
  return found;
}

/** Paths that differ between two digests. */
export function changedPaths(before: Record<string, string>, after: Record<string, string>): string[] {
  const paths = new Set([...Object.keys(before), ...Object.keys(after)]);
  return [...paths].filter((path) => before[path] !== after[path]).sort();
}

/** The pictures of a result, all files together: the same for the same picture, whenever it was made. */
export function picturesOf(result: string): string {
  const hash = createHash('sha256');
  for (const name of [
    'composite.tif',
    'depth.tif',
    'depth.png',
    'sources.png',
    'confidence.png',
    'coverage.png',
  ]) {
    hash.update(readFileSync(join(result, name)));
  }
  return hash.digest('hex');
}

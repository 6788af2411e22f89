import { join } from 'node:path';
import { readBoundedText } from './regular-file.js';

const runFileName = 'run.json';
/** Of the longest stacks it holds some 100 MB. */
export const maxRunBytes = 128e6;
/** Maps that every merge, and every preview, writes; no folder of photographs holds all four. */
const mapNames = [
  ['depth.tif', 'sources.png', 'confidence.png', 'coverage.png'],
  ['depth-preview.tif', 'sources-preview.png', 'confidence-preview.png', 'coverage-preview.png'],
];

/**
 * Whether a folder is the result of an earlier merge, so that its pictures are no frames: also one whose run.json was
 * cut short, overwritten or removed.
 *
 * @param names Of what it holds.
 */
export async function isEarlierResult(folder: string, names: readonly string[]): Promise<boolean> {
  if (mapNames.some((maps) => maps.every((name) => names.includes(name)))) return true;
  return names.includes(runFileName) && (await isOurRun(join(folder, runFileName)));
}

/** Judged by its text, not parsed: a record that was cut short still marks a result folder. */
async function isOurRun(path: string): Promise<boolean> {
  try {
    return /"lamella"\s*:|"lamella-run/.test(await readBoundedText(path, maxRunBytes));
  } catch {
    return false;
  }
}

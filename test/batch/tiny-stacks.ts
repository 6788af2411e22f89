import { cpSync, mkdirSync, readdirSync, readFileSync, utimesSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { renderScene } from '../../samples/render-scene.js';
import { makeFolder } from '../stack/pictures.js';

/** Five rendered frames of 96 x 64 pixels, by name; rendered once for each test file. */
export async function renderTiny(seed = 1): Promise<Record<string, Buffer>> {
  const out = makeFolder();
  await renderScene({ scene: 'tilted-plane', out, width: 96, height: 64, frames: 5, seed });
  const frames = join(out, 'frames');
  return Object.fromEntries(readdirSync(frames).map((name) => [name, readFileSync(join(frames, name))]));
}

/** A folder with some of the frames, `first` to `last` counted from 1, as if copied an hour ago. */
export function placeFrames(
  folder: string,
  frames: Record<string, Buffer>,
  first = 1,
  last = first + 2,
): string {
  mkdirSync(folder, { recursive: true });
  const copied = new Date(Date.now() - 3_600_000);
  for (const [name, bytes] of Object.entries(frames).slice(first - 1, last)) {
    writeFileSync(join(folder, name), bytes);
    utimesSync(join(folder, name), copied, copied);
  }
  return folder;
}

/** The same tree with the same times. */
export function copyTree(from: string, to: string): void {
  cpSync(from, to, { recursive: true, preserveTimestamps: true });
}

const timeFields = ['startedAt', 'wallMs', 'stagesMs'] as const;

/**
 * Every file of the results in a batch folder by path, as text of its bytes. The moment and the duration of a
 * merge differ from run to run and cannot be equal: in run.json the three fields that hold them, and in
 * report.html the two lines that show them, are blanked; everything else stands byte for byte.
 */
export function resultBytes(out: string): Record<string, string> {
  const files: Record<string, string> = {};
  const folders = readdirSync(out, { withFileTypes: true }).filter((entry) => entry.isDirectory());
  for (const { name } of folders) {
    for (const file of readdirSync(join(out, name))) {
      const bytes = readFileSync(join(out, name, file));
      files[`${name}/${file}`] = withoutTimes(file, bytes);
    }
  }
  return files;
}

function withoutTimes(file: string, bytes: Buffer): string {
  if (file === 'run.json') {
    const record: Record<string, unknown> = JSON.parse(bytes.toString());
    for (const field of timeFields) {
      if (record[field] === undefined) throw new Error(`run.json has no ${field}`);
      record[field] = 0;
    }
    return JSON.stringify(record);
  }
  if (file !== 'report.html') return bytes.toString('latin1');
  return bytes
    .toString()
    .replace(/ on [\d :-]+ in [^<]*\.<\/p>/, '')
    .replace(/<dt>Time<\/dt><dd>[^<]*<\/dd>/, '');
}

/** Names in a folder, hidden ones included. */
export function namesIn(folder: string): string[] {
  return readdirSync(folder).sort();
}

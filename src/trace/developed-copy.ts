import { rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { InputError, named, OutputError } from '../errors.js';
import { makeScratch } from '../merge/scratch-folder.js';
import { developFrame } from '../stack/raw/develop-raw.js';
import { DevelopedFrames } from '../stack/raw/developed-frames.js';
import { framePhotograph } from './frame-photograph.js';
import type { StackFrame } from './stack-frames.js';

/** Developed copies that lie on the disk at once. */
const maxCopies = 8;

interface Copy {
  number: number;
  path: Promise<string>;
}

/** By path and development, in the order of last use. */
const copies = new Map<string, Copy>();
let store: Promise<DevelopedFrames> | undefined;
let made = 0;

/**
 * Where the pixels of a frame lie: its photograph, or of a raw file a developed copy in the folder for temporary files,
 * as the merge developed it. Copies are few, and go with the program or, after it was killed, with the next.
 *
 * @param path Of the photograph.
 * @returns A file that is to be opened at once.
 * @throws InputError when the raw file cannot be developed; OutputError when there is no room for the copy.
 */
export async function pixelFile(frame: StackFrame, path: string): Promise<string> {
  if (!frame.development) return path;
  const key = `${path}\n${JSON.stringify(frame.development)}`;
  const known = copies.get(key);
  if (known) {
    copies.delete(key);
    copies.set(key, known);
    return known.path;
  }
  const number = ++made;
  const copy = { number, path: develop(frame, path, number) };
  copies.set(key, copy);
  copy.path.catch(() => copies.delete(key));
  if (copies.size > maxCopies) {
    const [oldest, unused] = copies.entries().next().value!;
    copies.delete(oldest);
    const drop = async () => (await openStore()).drop(unused.number);
    void unused.path.then(drop).catch(() => undefined);
  }
  return copy.path;
}

async function develop(frame: StackFrame, path: string, number: number): Promise<string> {
  const { width, height } = frame.size;
  const photograph = await framePhotograph(frame, path, Number.POSITIVE_INFINITY);
  const { size, raw, name } = photograph ?? {};
  // The photograph of another frame of the stack may be no raw file.
  if (photograph && !raw) return path;
  if (!raw || !name || size?.width !== width || size.height !== height) {
    throw new InputError(
      `Frame ${frame.number} (${path}) is no longer a raw file of ${width} x ${height} pixels: it has changed since the merge. If the frames moved, say where with ${named('framesFrom')} FOLDER.`,
    );
  }
  const developed = await developFrame({ name, path, number: frame.number, raw }, false);
  const kept = await openStore();
  await kept.keep(number, developed);
  const copy = kept.pathOf(number);
  if (copy !== undefined) return copy;
  throw new OutputError(
    `There is no room in ${tmpdir()} for a developed copy of ${path}: free some space, or name another folder in the variable TMPDIR.`,
  );
}

function openStore(): Promise<DevelopedFrames> {
  store ??= makeScratch(tmpdir()).then((folder) => {
    process.once('exit', () => rmSync(folder, { recursive: true, force: true }));
    return new DevelopedFrames(folder);
  });
  return store;
}

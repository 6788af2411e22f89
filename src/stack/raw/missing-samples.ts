import type { FileHandle } from 'node:fs/promises';
import { entryNumbers, openTiff, readDirectory, type TiffEntry, type TiffFile } from '../tiff-directory.js';

/** Tags of TIFF 6.0: size of the picture and of its tiles; where strips or tiles begin, and how many bytes each has. */
const sizeTags = [256, 257];
const tileSizeTags = [322, 323];
const offsetTags = [273, 324];
const countTags = [279, 325];
/** Directories below this one (TIFF/EP, ISO 12234-2). */
const subDirectoriesTag = 330;
const dngVersionTag = 50706;
/** In place of an offset that does not fit or is not used. */
const noOffset = 2 ** 32 - 1;
/** Directories of a file; more are no photograph's. */
const maxDirectories = 32;

/** Tags of RW2: size of the sensor, offset of its samples, and the version of their coding. */
const rw2 = { width: 2, height: 3, offset: 280, coding: 45 };
/** Codings 1 to 7 take a fixed size for each sample, the densest 16 bytes for 14; later ones no fixed size. */
const lastFixedCoding = 7;
const minBytesPerSample = 16 / 14;

/**
 * Whether samples of a raw file that is built on TIFF are not in it, as after a copy that broke off. LibRaw leaves strips
 * and tiles that begin behind the end of the file black, without a word. Only DNG requires that all of them lie within
 * the file, so of other files their beginnings count; where a strip itself is cut short, LibRaw reports it.
 */
export async function lacksSamples(handle: FileHandle): Promise<boolean> {
  const tiff = await openTiff(handle);
  if (!tiff) return false;
  const { size } = await handle.stat();
  const main = await readDirectory(tiff, tiff.firstDirectory);
  const numbers = (entries: readonly TiffEntry[], tag: number) =>
    entryNumbers(
      entries.find((entry) => entry.tag === tag),
      tiff.littleEndian,
    );
  const [rw2Offset] = numbers(main, rw2.offset);
  if (rw2Offset !== undefined) {
    const [width = 0] = numbers(main, rw2.width);
    const [height = 0] = numbers(main, rw2.height);
    const [coding = 0] = numbers(main, rw2.coding);
    return coding <= lastFixedCoding && size - rw2Offset < width * height * minBytesPerSample;
  }
  const isDng = main.some(({ tag }) => tag === dngVersionTag);
  for (const entries of [main, ...(await directoriesBelow(tiff, main))]) {
    const offsets = offsetTags.flatMap((tag) => numbers(entries, tag));
    const counts = countTags.flatMap((tag) => numbers(entries, tag));
    if (isDng && offsets.length > 0 && offsets.length < tilesOf(entries, numbers)) return true;
    const isBeyond = offsets.some((offset, i) => {
      return offset < noOffset && (isDng ? offset + (counts[i] ?? 0) > size : offset >= size);
    });
    if (isBeyond) return true;
  }
  return false;
}

/** Tiles of a directory by its sizes; 0 where it has none. */
function tilesOf(
  entries: readonly TiffEntry[],
  numbers: (entries: readonly TiffEntry[], tag: number) => number[],
): number {
  const [across, down] = sizeTags.map((tag, axis) => {
    const [length] = numbers(entries, tag);
    const [tile] = numbers(entries, tileSizeTags[axis]);
    return tile > 0 ? Math.ceil(length / tile) : 0;
  });
  return across * down;
}

async function directoriesBelow(tiff: TiffFile, main: readonly TiffEntry[]): Promise<TiffEntry[][]> {
  const found: TiffEntry[][] = [];
  const waiting = [main];
  for (const entries of waiting) {
    const pointer = entries.find(({ tag }) => tag === subDirectoriesTag);
    for (const offset of entryNumbers(pointer, tiff.littleEndian)) {
      if (found.length >= maxDirectories) return found;
      const below = await readDirectory(tiff, offset);
      found.push(below);
      waiting.push(below);
    }
  }
  return found;
}

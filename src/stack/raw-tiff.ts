import type { FileHandle } from 'node:fs/promises';
import { entryNumbers, openTiff, readDirectory, type TiffEntry } from './tiff-directory.js';

const newSubfileType = 254;
const photometric = 262;
const subDirectories = 330;
const dngVersion = 50706;
// PhotometricInterpretation of sensor data (TIFF/EP and the DNG specification).
const colourFilterArray = 32803;
const linearRaw = 34892;

/**
 * Whether an open TIFF is a camera raw file under another name. An image library would open the small preview that such
 * files keep first, without complaint, so they are identified by what only raw files have: the DNG version, sensor data
 * in the main or a sub-directory, or a reduced picture in front of sub-directories.
 */
export async function isRawTiff(handle: FileHandle): Promise<boolean> {
  const tiff = await openTiff(handle);
  if (!tiff) return false;
  const main = await readDirectory(tiff, tiff.firstDirectory);
  const numbers = (entries: TiffEntry[], tag: number): number[] =>
    entryNumbers(
      entries.find((entry) => entry.tag === tag),
      tiff.littleEndian,
    );
  const isSensorData = (entries: TiffEntry[]): boolean =>
    numbers(entries, photometric).some((value) => value === colourFilterArray || value === linearRaw);
  if (main.some((entry) => entry.tag === dngVersion) || isSensorData(main)) return true;
  const offsets = numbers(main, subDirectories).slice(0, 8);
  const isReduced = ((numbers(main, newSubfileType)[0] ?? 0) & 1) === 1;
  if (isReduced && offsets.length > 0) return true;
  for (const offset of offsets) {
    if (isSensorData(await readDirectory(tiff, offset))) return true;
  }
  return false;
}

import type { FileHandle } from 'node:fs/promises';
import { openRegularFile } from '../stack/regular-file.js';
import { entryNumbers, openTiff, readDirectory, type TiffEntry } from '../stack/tiff-directory.js';

/** What a TIFF whose samples lie uncompressed and in one piece says of them. */
export interface FlatTiff {
  width: number;
  height: number;
  channels: number;
  /** Bits of a sample; 32 are floats. */
  bits: 8 | 16 | 32;
  /** Where the first sample lies in the file. */
  offset: number;
}

const tags = {
  width: 256,
  height: 257,
  bits: 258,
  compression: 259,
  photometric: 262,
  orientation: 274,
  samplesPerPixel: 277,
  rowsPerStrip: 278,
  planarConfiguration: 284,
} as const;
const stripOffsets = 273;
/** Strips beyond this do not occur: a strip holds a quarter of a megabyte. */
const maxStrips = 1 << 22;

/**
 * The layout of a TIFF (TIFF 6.0) if its samples can be read and written in place: little-endian, uncompressed,
 * interleaved, strips one behind the other. Composites and depth maps of a merge are of this kind. Undefined for
 * any other file, which some program may have written instead.
 */
export async function flatTiffOf(path: string): Promise<FlatTiff | undefined> {
  const handle = await openRegularFile(path);
  try {
    return await flatTiffIn(handle);
  } finally {
    await handle.close();
  }
}

/** As `flatTiffOf`, of a file that is open. */
export async function flatTiffIn(handle: FileHandle): Promise<FlatTiff | undefined> {
  const file = await openTiff(handle);
  if (!file?.littleEndian) return undefined;
  const entries = await readDirectory(file, file.firstDirectory);
  const numbers = (tag: number) => entryNumbers(find(entries, tag), true);
  const [width, height] = [numbers(tags.width)[0], numbers(tags.height)[0]];
  const [channels = 1] = numbers(tags.samplesPerPixel);
  const bits = numbers(tags.bits);
  const [rowsPerStrip = height] = numbers(tags.rowsPerStrip);
  const isPlain =
    (numbers(tags.compression)[0] ?? 1) === 1 &&
    (numbers(tags.planarConfiguration)[0] ?? 1) === 1 &&
    (numbers(tags.orientation)[0] ?? 1) === 1 &&
    [1, 2].includes(numbers(tags.photometric)[0]) &&
    bits.length === channels &&
    bits.every((value) => value === bits[0]) &&
    [8, 16, 32].includes(bits[0]);
  if (!width || !height || !isPlain) return undefined;
  const strips = Math.ceil(height / Math.min(height, rowsPerStrip));
  const stripBytes = rowsPerStrip * width * channels * (bits[0] / 8);
  const offset = await firstOfConsecutive(handle, file.firstDirectory, file.big, strips, stripBytes);
  if (offset === undefined) return undefined;
  return { width, height, channels, bits: bits[0] as FlatTiff['bits'], offset };
}

function find(entries: readonly TiffEntry[], tag: number): TiffEntry | undefined {
  return entries.find((entry) => entry.tag === tag);
}

/**
 * The first strip offset when all strips follow each other without gaps. Read here because long lists of
 * offsets are passed over by `readDirectory`.
 */
async function firstOfConsecutive(
  handle: FileHandle,
  directory: number,
  big: boolean,
  strips: number,
  stripBytes: number,
): Promise<number | undefined> {
  if (strips > maxStrips) return undefined;
  const read = async (position: number, length: number) => {
    const { buffer, bytesRead } = await handle.read(Buffer.alloc(length), 0, length, position);
    return bytesRead === length ? buffer : undefined;
  };
  const countBytes = big ? 8 : 2;
  const entryBytes = big ? 20 : 12;
  const head = await read(directory, countBytes);
  if (!head) return undefined;
  const count = big ? Number(head.readBigUInt64LE(0)) : head.readUInt16LE(0);
  const table = count <= 4096 ? await read(directory + countBytes, count * entryBytes) : undefined;
  if (!table) return undefined;
  for (let at = 0; at < table.length; at += entryBytes) {
    if (table.readUInt16LE(at) !== stripOffsets) continue;
    const type = table.readUInt16LE(at + 2);
    const itemBytes = type === 3 ? 2 : type === 4 ? 4 : type === 16 ? 8 : 0;
    const items = big ? Number(table.readBigUInt64LE(at + 4)) : table.readUInt32LE(at + 4);
    if (itemBytes === 0 || items !== strips) return undefined;
    const valueAt = at + (big ? 12 : 8);
    const isInline = items * itemBytes <= (big ? 8 : 4);
    const offset = big ? Number(table.readBigUInt64LE(valueAt)) : table.readUInt32LE(valueAt);
    const values = isInline
      ? table.subarray(valueAt, valueAt + items * itemBytes)
      : await read(offset, items * itemBytes);
    if (!values) return undefined;
    const offsetOf = (i: number) =>
      itemBytes === 8 ? Number(values.readBigUInt64LE(i * 8)) : values.readUIntLE(i * itemBytes, itemBytes);
    for (let i = 1; i < items; i++) {
      if (offsetOf(i) !== offsetOf(0) + i * stripBytes) return undefined;
    }
    return offsetOf(0);
  }
  return undefined;
}

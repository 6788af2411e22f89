import type { FileHandle } from 'node:fs/promises';
import type { FrameExif } from './frame.js';
import { entryNumbers, openTiff, readDirectory, type TiffEntry } from './tiff-directory.js';

const exifPointer = 34665;
const gpsPointer = 34853;

// What describes the photograph; what describes the storage of its pixels stays behind.
const descriptiveTags = new Set([
  270, // ImageDescription
  271, // Make
  272, // Model
  274, // Orientation
  282, // XResolution
  283, // YResolution
  296, // ResolutionUnit
  305, // Software
  306, // DateTime
  315, // Artist
  33432, // Copyright
]);
// Values that hold offsets into the old file and would point nowhere: maker notes, interoperability.
const offsetTags = new Set([37500, 40965]);

/**
 * The EXIF of an open TIFF file as a free-standing block of the layout that JPEG and PNG carry: header, main directory,
 * EXIF and GPS directories. Maker notes are dropped because their inner offsets do not survive a move. Undefined when
 * the file is no TIFF or contains none of it.
 */
export async function exifBlockOfTiff(handle: FileHandle): Promise<Buffer | undefined> {
  const tiff = await openTiff(handle);
  if (!tiff) return undefined;
  const main = await readDirectory(tiff, tiff.firstDirectory);
  const described = main.filter((entry) => descriptiveTags.has(entry.tag) && isClassic(entry));
  const linked: [number, TiffEntry[]][] = [];
  for (const pointer of [exifPointer, gpsPointer]) {
    const [offset] = entryNumbers(
      main.find((entry) => entry.tag === pointer),
      tiff.littleEndian,
    );
    if (offset === undefined) continue;
    const entries = (await readDirectory(tiff, offset)).filter(
      (entry) => isClassic(entry) && !offsetTags.has(entry.tag),
    );
    if (entries.length > 0) linked.push([pointer, entries]);
  }
  if (described.length + linked.length === 0) return undefined;
  return buildBlock(described, linked, tiff.littleEndian);
}

/** An EXIF block of values that were read elsewhere (EXIF 2.32); undefined when there are none. */
export function exifBlockOfValues(exif: FrameExif): Buffer | undefined {
  const { make, model, exposureS, fNumber, iso, focalLengthMm, takenMs, lens } = exif;
  const main = [...asciiEntry(271, make), ...asciiEntry(272, model)];
  const inner = [
    ...rationalEntry(33434, exposureS),
    ...rationalEntry(33437, fNumber),
    ...(iso === undefined ? [] : [shortEntry(34855, Math.min(iso, 65_535))]),
    ...asciiEntry(36867, takenMs === undefined ? undefined : exifTime(takenMs)),
    ...rationalEntry(37386, focalLengthMm),
    ...asciiEntry(42036, lens),
  ];
  if (main.length + inner.length === 0) return undefined;
  return buildBlock(main, inner.length > 0 ? [[exifPointer, inner]] : [], true);
}

function exifTime(takenMs: number): string {
  return new Date(takenMs).toISOString().slice(0, 19).replace('T', ' ').replaceAll('-', ':');
}

function asciiEntry(tag: number, text: string | undefined): TiffEntry[] {
  if (text === undefined) return [];
  const data = Buffer.from(`${text}\0`, 'latin1');
  return [{ tag, type: 2, count: data.length, data }];
}

function shortEntry(tag: number, value: number): TiffEntry {
  const data = Buffer.alloc(2);
  data.writeUInt16LE(Math.round(value));
  return { tag, type: 3, count: 1, data };
}

/** To six digits: what cameras state has fewer. */
function rationalEntry(tag: number, value: number | undefined): TiffEntry[] {
  if (value === undefined) return [];
  const data = Buffer.alloc(8);
  const denominator = value >= 1 ? 1000 : 1_000_000;
  data.writeUInt32LE(Math.round(value * denominator), 0);
  data.writeUInt32LE(denominator, 4);
  return [{ tag, type: 5, count: 1, data }];
}

/** Types that exist only in BigTIFF are not allowed in an EXIF block. */
function isClassic(entry: TiffEntry): boolean {
  return entry.type <= 13;
}

function buildBlock(main: TiffEntry[], linked: [number, TiffEntry[]][], littleEndian: boolean): Buffer {
  const header = Buffer.alloc(8);
  header.write(littleEndian ? 'II' : 'MM', 'latin1');
  writeUint(header, 42, 2, 2, littleEndian);
  writeUint(header, 8, 4, 4, littleEndian);
  let offset = 8 + directoryBytes([...main, ...linked.map(() => ({ data: Buffer.alloc(4) }))]);
  const pointers: TiffEntry[] = [];
  const blocks: Buffer[] = [];
  for (const [tag, entries] of linked) {
    const data = Buffer.alloc(4);
    writeUint(data, offset, 0, 4, littleEndian);
    pointers.push({ tag, type: 4, count: 1, data });
    blocks.push(buildDirectory(entries, offset, littleEndian));
    offset += directoryBytes(entries);
  }
  return Buffer.concat([header, buildDirectory([...main, ...pointers], 8, littleEndian), ...blocks]);
}

/** A directory at `offset` followed by its long values, each on an even offset (TIFF 6.0, section 2). */
function buildDirectory(entries: TiffEntry[], offset: number, littleEndian: boolean): Buffer {
  const bytes = Buffer.alloc(directoryBytes(entries));
  const ordered = [...entries].sort((first, second) => first.tag - second.tag);
  writeUint(bytes, ordered.length, 0, 2, littleEndian);
  let valueAt = 2 + ordered.length * 12 + 4;
  for (const [index, entry] of ordered.entries()) {
    const at = 2 + index * 12;
    writeUint(bytes, entry.tag, at, 2, littleEndian);
    writeUint(bytes, entry.type, at + 2, 2, littleEndian);
    writeUint(bytes, entry.count, at + 4, 4, littleEndian);
    if (entry.data.length <= 4) {
      entry.data.copy(bytes, at + 8);
    } else {
      writeUint(bytes, offset + valueAt, at + 8, 4, littleEndian);
      entry.data.copy(bytes, valueAt);
      valueAt += evenLength(entry.data);
    }
  }
  return bytes;
}

function directoryBytes(entries: { data: Buffer }[]): number {
  const values = entries.reduce(
    (sum, entry) => sum + (entry.data.length > 4 ? evenLength(entry.data) : 0),
    0,
  );
  return 2 + entries.length * 12 + 4 + values;
}

function evenLength(data: Buffer): number {
  return data.length + (data.length & 1);
}

function writeUint(bytes: Buffer, value: number, at: number, size: number, littleEndian: boolean): void {
  if (littleEndian) bytes.writeUIntLE(value, at, size);
  else bytes.writeUIntBE(value, at, size);
}

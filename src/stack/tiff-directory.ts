import type { FileHandle } from 'node:fs/promises';
import { bytesPerItem } from './ifd.js';

/** One field of a TIFF directory with its value bytes as they stand in the file. */
export interface TiffEntry {
  tag: number;
  type: number;
  count: number;
  data: Buffer;
}

/** Access to the directories of an open TIFF or BigTIFF file, by positional reads of a few kilobytes. */
export interface TiffFile {
  handle: FileHandle;
  littleEndian: boolean;
  big: boolean;
  firstDirectory: number;
}

/** Longer values (strip offsets of a huge picture, maker notes) are not read: nothing here needs them. */
const maxValueBytes = 65_536;
const maxEntries = 4096;

/** In place of 42 in raw files that are TIFF otherwise: "OR" and "RS" in the byte order of an ORF, and that of RW2. */
const rawVersions = [0x4f52, 0x5352, 0x55];

/** Reads the header; undefined when the file is neither TIFF nor BigTIFF. */
export async function openTiff(handle: FileHandle): Promise<TiffFile | undefined> {
  const head = await readAt(handle, 0, 16);
  if (!head || head.length < 8) return undefined;
  const mark = head.toString('latin1', 0, 2);
  if (mark !== 'II' && mark !== 'MM') return undefined;
  const littleEndian = mark === 'II';
  const version = uint(head, 2, 2, littleEndian);
  if (version === 42 || rawVersions.includes(version)) {
    return { handle, littleEndian, big: false, firstDirectory: uint(head, 4, 4, littleEndian) };
  }
  if (version !== 43 || head.length < 16) return undefined;
  return { handle, littleEndian, big: true, firstDirectory: uint(head, 8, 8, littleEndian) };
}

/** The fields of the directory at `offset`; fields that lie outside the file or are malformed are left out. */
export async function readDirectory(file: TiffFile, offset: number): Promise<TiffEntry[]> {
  const { handle, littleEndian, big } = file;
  const countBytes = big ? 8 : 2;
  const entryBytes = big ? 20 : 12;
  const head = await readAt(handle, offset, countBytes);
  if (head?.length !== countBytes) return [];
  const count = uint(head, 0, countBytes, littleEndian);
  if (count > maxEntries) return [];
  const table = (await readAt(handle, offset + countBytes, count * entryBytes)) ?? Buffer.alloc(0);
  const entries: TiffEntry[] = [];
  for (let start = 0; start + entryBytes <= table.length; start += entryBytes) {
    const entry = await readEntry(file, table.subarray(start, start + entryBytes));
    if (entry) entries.push(entry);
  }
  return entries;
}

async function readEntry(file: TiffFile, bytes: Buffer): Promise<TiffEntry | undefined> {
  const { littleEndian, big } = file;
  const wordBytes = big ? 8 : 4;
  const type = uint(bytes, 2, 2, littleEndian);
  const count = uint(bytes, 4, wordBytes, littleEndian);
  const length = count * (bytesPerItem[type] ?? Number.NaN);
  if (!(length > 0 && length <= maxValueBytes)) return undefined;
  const valueAt = 4 + wordBytes;
  const data =
    length <= wordBytes
      ? bytes.subarray(valueAt, valueAt + length)
      : await readAt(file.handle, uint(bytes, valueAt, wordBytes, littleEndian), length);
  if (data?.length !== length) return undefined;
  return { tag: uint(bytes, 0, 2, littleEndian), type, count, data };
}

/** Tags that point to a directory: EXIF and GPS (EXIF 2.32, 4.6.3). */
const directoryTags = [34665, 34853];

/**
 * Whether a directory, the EXIF and GPS directories that it points to, and all their values lie within the file. A
 * truncated file may decode in full and yet have lost those, as they may follow the pixels.
 */
export async function isDirectoryWhole(file: TiffFile, offset: number): Promise<boolean> {
  const { handle, littleEndian, big } = file;
  const { size } = await handle.stat();
  const [countBytes, entryBytes, wordBytes] = big ? [8, 20, 8] : [2, 12, 4];
  const head = await readAt(handle, offset, countBytes);
  if (head?.length !== countBytes) return false;
  const count = uint(head, 0, countBytes, littleEndian);
  if (count > maxEntries) return false;
  const table = await readAt(handle, offset + countBytes, count * entryBytes);
  if (table?.length !== count * entryBytes) return false;
  for (let at = 0; at < table.length; at += entryBytes) {
    const type = uint(table, at + 2, 2, littleEndian);
    const length = uint(table, at + 4, wordBytes, littleEndian) * (bytesPerItem[type] ?? 0);
    const valueAt = at + 4 + wordBytes;
    if (length > wordBytes && uint(table, valueAt, wordBytes, littleEndian) + length > size) return false;
    if (!directoryTags.includes(uint(table, at, 2, littleEndian)) || length === 0) continue;
    const pointerBytes = Math.min(length, wordBytes);
    const inner = uint(table, valueAt, pointerBytes, littleEndian);
    // Circular pointers would never end.
    if (inner !== offset && offset === file.firstDirectory && !(await isDirectoryWhole(file, inner)))
      return false;
  }
  return true;
}

/** All values of an entry of an unsigned integer type; empty for other types. */
export function entryNumbers(entry: TiffEntry | undefined, littleEndian: boolean): number[] {
  if (!entry || ![1, 3, 4, 13, 16, 18].includes(entry.type)) return [];
  const size = bytesPerItem[entry.type];
  return Array.from({ length: entry.count }, (_, i) => uint(entry.data, i * size, size, littleEndian));
}

function uint(bytes: Buffer, at: number, size: number, littleEndian: boolean): number {
  if (size === 8) return Number(littleEndian ? bytes.readBigUInt64LE(at) : bytes.readBigUInt64BE(at));
  return littleEndian ? bytes.readUIntLE(at, size) : bytes.readUIntBE(at, size);
}

async function readAt(handle: FileHandle, position: number, length: number): Promise<Buffer | undefined> {
  if (!Number.isSafeInteger(position)) return undefined;
  const { buffer, bytesRead } = await handle.read(Buffer.alloc(length), 0, length, position);
  return buffer.subarray(0, bytesRead);
}

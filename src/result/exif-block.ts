import type { Size } from '../image/image.js';
import {
  asciiField,
  bytesPerItem,
  fieldTypes,
  type Ifd,
  type IfdField,
  longField,
  shortField,
} from '../stack/ifd.js';

/** Tags of EXIF 2.32 (CIPA DC-008) and TIFF 6.0 that are named here. */
const tags = {
  orientation: 274,
  software: 305,
  exifIfd: 34665,
  gpsIfd: 34853,
  pixelXDimension: 40962,
  pixelYDimension: 40963,
} as const;

/**
 * What is kept of the first directory: descriptions of the photograph, not of the file. Image description, make,
 * model, resolution (x, y, unit), date, artist, rating, copyright, and title to subject as one system writes them.
 */
const keptMainTags = new Set([
  270, 271, 272, 282, 283, 296, 306, 315, 18246, 33432, 40091, 40092, 40093, 40094, 40095,
]);

/**
 * Left out of the EXIF directory: MakerNote (full of offsets that only its maker can move), compressed bits per
 * pixel (of the frame's file), the interoperability pointer, and the unique id of a picture that this is not.
 */
const droppedExifTags = new Set([37500, 37122, 40965, 42016]);

/** Longest value kept; a JPEG holds 64 KB of EXIF in all. */
const maxValueBytes = 16 * 1024;

const exifHeader = Buffer.from('Exif\0\0', 'latin1');

/**
 * The EXIF of the anchor made fit for the composite: orientation 1 (the pixels stand upright), the composite's
 * size, this program as software, no thumbnail (it would show one frame), no MakerNote.
 *
 * @param block EXIF as files carry it: a TIFF structure of either byte order, with or without 'Exif\0\0' before it.
 * @param size Of the composite, px.
 * @param software The program and version that wrote the composite.
 * @returns The main directory with its EXIF and GPS directories, or undefined when the block cannot be understood.
 */
export function compositeExif(block: Buffer, size: Size, software: string): Ifd | undefined {
  const tiff = block.subarray(0, 6).equals(exifHeader) ? block.subarray(6) : block;
  const parsed = parseTiff(tiff);
  if (!parsed) return undefined;
  const exif = parsed.get(tags.exifIfd);
  const exifIfd: Ifd = exif instanceof Map ? new Map(exif) : new Map();
  exifIfd.set(tags.pixelXDimension, longField(size.width));
  exifIfd.set(tags.pixelYDimension, longField(size.height));
  return new Map(parsed)
    .set(tags.exifIfd, exifIfd)
    .set(tags.orientation, shortField(1))
    .set(tags.software, asciiField(software));
}

/** The kept fields of a TIFF structure, turned to little-endian; undefined when it is none. */
function parseTiff(tiff: Buffer): Ifd | undefined {
  const head = tiff.subarray(0, 8);
  const order = head.toString('latin1', 0, 2);
  const big = order === 'MM';
  if (head.length < 8 || (!big && order !== 'II')) return undefined;
  if ((big ? head.readUInt16BE(2) : head.readUInt16LE(2)) !== 42) return undefined;
  const first = big ? head.readUInt32BE(4) : head.readUInt32LE(4);

  const main = parseIfd(tiff, first, big, (tag) => keptMainTags.has(tag) || isPointer(tag));
  const kept: Ifd = new Map();
  for (const [tag, field] of main) {
    if (!isPointer(tag)) {
      kept.set(tag, field);
      continue;
    }
    if (field.type !== fieldTypes.long && field.type !== 13) continue;
    const keeps = tag === tags.exifIfd ? (inner: number) => !droppedExifTags.has(inner) : () => true;
    const inner: Ifd = parseIfd(tiff, field.value.readUInt32LE(0), big, keeps);
    if (inner.size) kept.set(tag, inner);
  }
  return kept;
}

function isPointer(tag: number): boolean {
  return tag === tags.exifIfd || tag === tags.gpsIfd;
}

/** One directory; fields that are cut off, unknown in type or overlong are passed over. */
function parseIfd(
  tiff: Buffer,
  at: number,
  big: boolean,
  keeps: (tag: number) => boolean,
): Map<number, IfdField> {
  const fields = new Map<number, IfdField>();
  const countBytes = tiff.subarray(at, at + 2);
  if (countBytes.length < 2) return fields;
  const count = big ? countBytes.readUInt16BE(0) : countBytes.readUInt16LE(0);
  const entries = tiff.subarray(at + 2, at + 2 + count * 12);
  for (let entry = 0; entry + 12 <= entries.length; entry += 12) {
    const short = (offset: number) => (big ? entries.readUInt16BE(offset) : entries.readUInt16LE(offset));
    const long = (offset: number) => (big ? entries.readUInt32BE(offset) : entries.readUInt32LE(offset));
    const tag = short(entry);
    const type = short(entry + 2);
    const items = long(entry + 4);
    const length = items * (bytesPerItem[type] ?? 0);
    if (!keeps(tag) || length === 0 || length > maxValueBytes) continue;
    const offset = length <= 4 ? at + 2 + entry + 8 : long(entry + 8);
    const value = tiff.subarray(offset, offset + length);
    if (value.length === length)
      fields.set(tag, { type, count: items, value: littleEndian(value, type, big) });
  }
  return fields;
}

function littleEndian(value: Buffer, type: number, big: boolean): Buffer {
  const copy = Buffer.from(value);
  // A rational is two longs.
  const width = type === 5 || type === 10 ? 4 : bytesPerItem[type];
  if (!big || width === 1) return copy;
  return width === 2 ? copy.swap16() : width === 4 ? copy.swap32() : copy.swap64();
}

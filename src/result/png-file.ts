import { promisify } from 'node:util';
import { constants, deflateRaw, deflateSync } from 'node:zlib';
import { type PieceKernels, pieceKernels } from '../kernels/piece-kernels.js';
import { crc32 } from './checksums.js';
import { throwIfStopped } from './output-failure.js';
import { type ByteTarget, writeOutputFile } from './output-file.js';

/** A picture for a PNG file, given row by row so that a map can be converted on its way. */
export interface PngPicture {
  width: number;
  height: number;
  /** 1 = grey or palette index, 3 = RGB, 4 = RGB and alpha, colour not multiplied by it. */
  channels: 1 | 3 | 4;
  bits: 8 | 16;
  /** Samples of row `y`, width * channels; read before the next call, so the array may be reused. */
  row: (y: number) => Uint8Array | Uint16Array;
  /** Colours of 8-bit indices. */
  palette?: readonly (readonly [number, number, number])[] | undefined;
  /** ICC profile, carried byte for byte. */
  icc?: Buffer | undefined;
  /** EXIF as a TIFF structure, without 'Exif\0\0'. */
  exif?: Buffer | undefined;
  /** Program that made the picture and what it is, in Latin-1, kept as the text `Software`. */
  software?: string | undefined;
  /** Further texts by their keywords, both in Latin-1. */
  texts?: Readonly<Record<string, string>> | undefined;
  signal?: AbortSignal | undefined;
}

const signature = Buffer.from([0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a]);
/** Deflate with a 32 KB window, fastest level (RFC 1950). */
const zlibHeader = Buffer.from([0x78, 0x01]);

/** Bytes deflated as one piece. Pieces know nothing of each other: at this size that costs less than 1 %. */
const bytesPerPiece = 1 << 20;
/** Pieces under way at once: as many as libuv's threads, so that all cores deflate. */
const piecesAtOnce = 4;
/** Photographs are noisy: higher levels cost three times the time for 2 % of the size. */
const deflateLevel = 1;
/**
 * Differences of a map's rows are runs of zeros, or noise: runs alone are looked for, in three quarters of the time. Maps of
 * 24 megapixels take 8 % less room so.
 */
const mapStrategy = constants.Z_RLE;
/** Least room for what a piece is deflated to. */
const minDeflatedBytes = 1 << 16;

const deflateRawAsync = promisify(deflateRaw);

/**
 * Writes a PNG (PNG specification, third edition), bit-exact, pieces deflated side by side.
 * Every row is filtered against the one above ('up'), which suits photographs and smooth maps alike.
 *
 * @throws OutputError when the file cannot be written; InterruptedError when stopped.
 */
export async function writePng(path: string, picture: PngPicture): Promise<void> {
  await writeOutputFile(path, (file) => appendPng(file, picture), picture.signal);
}

/** Appends the bytes of a PNG; see `writePng`. Throws what the target throws. */
export async function appendPng(target: ByteTarget, picture: PngPicture): Promise<void> {
  await target.append(signature);
  await writeChunk(target, 'IHDR', headerData(picture));
  const { software, texts } = picture;
  for (const [keyword, text] of Object.entries({
    ...(software !== undefined && { Software: software }),
    ...texts,
  })) {
    await writeChunk(target, 'tEXt', Buffer.from(`${keyword}\0${text}`, 'latin1'));
  }
  if (picture.icc) {
    const name = Buffer.from('ICC profile\0\0', 'latin1');
    await writeChunk(target, 'iCCP', Buffer.concat([name, deflateSync(picture.icc)]));
  }
  if (picture.palette) await writeChunk(target, 'PLTE', Buffer.from(picture.palette.flat()));
  if (picture.exif) await writeChunk(target, 'eXIf', picture.exif);
  await writePixels(target, picture);
  await writeChunk(target, 'IEND', Buffer.alloc(0));
}

/** Colour type of the header by the number of channels, without a palette. */
const colourTypes = { 1: 0, 3: 2, 4: 6 } as const;

function headerData(picture: PngPicture): Buffer {
  const data = Buffer.alloc(13);
  data.writeUInt32BE(picture.width, 0);
  data.writeUInt32BE(picture.height, 4);
  data[8] = picture.bits;
  data[9] = picture.palette ? 3 : colourTypes[picture.channels];
  return data;
}

async function writePixels(file: ByteTarget, picture: PngPicture): Promise<void> {
  const bytesPerRow = 1 + (picture.width * picture.channels * picture.bits) / 8;
  const rowsPerPiece = Math.min(picture.height, Math.max(1, Math.floor(bytesPerPiece / bytesPerRow)));
  const kernels = pieceKernels();
  const above = new Uint8Array(bytesPerRow - 1);
  let adler = 1;
  const underWay: Promise<Buffer>[] = [];
  // Pieces lie in rooms that are used again, for no more of them are under way at once.
  const rooms = Array.from({ length: piecesAtOnce }, () => new Uint8Array(rowsPerPiece * bytesPerRow));
  const strategy = picture.channels === 1 ? mapStrategy : constants.Z_DEFAULT_STRATEGY;
  let deflatedBytes = bytesPerPiece;
  try {
    for (let start = 0; start < picture.height; start += rowsPerPiece) {
      throwIfStopped(picture.signal);
      const end = Math.min(picture.height, start + rowsPerPiece);
      const bytes = rooms[(start / rowsPerPiece) % piecesAtOnce].subarray(0, (end - start) * bytesPerRow);
      adler = filterPiece(kernels, picture, start, end, above, adler, bytes);
      // A piece that is not the last ends on a byte with the stream left open.
      const finishFlush = end === picture.height ? constants.Z_FINISH : constants.Z_SYNC_FLUSH;
      // Room for what the piece before came to and a quarter more: the thread that deflates seldom has to ask for more.
      const most = bytes.length + (bytes.length >> 8) + 1024;
      const chunkSize = Math.min(most, Math.max(minDeflatedBytes, deflatedBytes + (deflatedBytes >> 2)));
      underWay.push(deflateRawAsync(bytes, { level: deflateLevel, strategy, finishFlush, chunkSize }));
      if (start === 0) await writeChunk(file, 'IDAT', zlibHeader);
      if (underWay.length >= piecesAtOnce) {
        const deflated = await underWay.shift()!;
        deflatedBytes = deflated.length;
        await writeChunk(file, 'IDAT', deflated);
      }
    }
    while (underWay.length) await writeChunk(file, 'IDAT', await underWay.shift()!);
  } finally {
    await Promise.allSettled(underWay);
  }
  const check = Buffer.alloc(4);
  check.writeUInt32BE(adler, 0);
  await writeChunk(file, 'IDAT', check);
}

/** Puts rows `start` to `end` - 1 into `bytes` as they are deflated, and the last of them into `above`. Returns the check of all up to them. */
function filterPiece(
  kernels: PieceKernels,
  { row, bits }: PngPicture,
  start: number,
  end: number,
  above: Uint8Array,
  adler: number,
  bytes: Uint8Array,
): number {
  const rowBytes = above.length;
  const rows = end - start;
  const [samples, filtered] = kernels.take((rows + 1) * rowBytes, rows * (rowBytes + 1));
  samples.set(above);
  for (let y = start, at = rowBytes; y < end; y++, at += rowBytes) {
    const { buffer, byteOffset, byteLength } = row(y);
    samples.set(new Uint8Array(buffer, byteOffset, byteLength), at);
  }
  above.set(samples.subarray(rows * rowBytes));
  const { byteOffset: out, byteLength: count } = filtered;
  kernels.filterRows({ samples: samples.byteOffset, rowBytes, rows, bits, out });
  bytes.set(filtered);
  return kernels.adlerOf({ bytes: out, count, adler }) >>> 0;
}

async function writeChunk(file: ByteTarget, type: string, data: Buffer): Promise<void> {
  const head = Buffer.alloc(8);
  head.writeUInt32BE(data.length, 0);
  head.write(type, 4, 'latin1');
  const check = Buffer.alloc(4);
  check.writeUInt32BE(crc32(head.subarray(4), data), 0);
  await file.append(Buffer.concat([head, data, check]));
}

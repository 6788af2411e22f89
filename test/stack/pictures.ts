import { mkdtempSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { crc32, deflateSync } from 'node:zlib';
import sharp from 'sharp';
import type { FrameFile } from '../../src/stack/frame.js';
import { removeAfter } from '../temporary-folders.js';

/** A fresh folder with the given files, removed after the test file. */
export function makeFolder(files: Record<string, Buffer | string> = {}): string {
  const folder = mkdtempSync(join(tmpdir(), 'lamella-stack-'));
  removeAfter('file', folder);
  for (const [name, content] of Object.entries(files)) writeFileSync(join(folder, name), content);
  return folder;
}

export interface PictureOptions {
  width?: number;
  height?: number;
  orientation?: number;
  /** `YYYY:MM:DD hh:mm:ss`. */
  taken?: string;
  /** Decimal digits of the second. */
  subSeconds?: string;
}

/** A plain JPEG with the EXIF asked for. */
export function jpeg({
  width = 24,
  height = 16,
  orientation,
  taken,
  subSeconds,
}: PictureOptions = {}): Promise<Buffer> {
  const picture = sharp({ create: { width, height, channels: 3, background: '#b06020' } });
  if (orientation !== undefined) picture.withMetadata({ orientation });
  return picture
    .withExif({
      IFD2: {
        ...(taken !== undefined && { DateTimeOriginal: taken }),
        ...(subSeconds !== undefined && { SubSecTimeOriginal: subSeconds }),
      },
    })
    .jpeg()
    .toBuffer();
}

/** A whole PNG file whose header claims a size that its data never fills. */
export function claimingPng(width: number, height: number): Buffer {
  const header = Buffer.from([0, 0, 0, 0, 0, 0, 0, 0, 8, 2, 0, 0, 0]);
  header.writeUInt32BE(width, 0);
  header.writeUInt32BE(height, 4);
  return Buffer.concat([
    Buffer.from('\x89PNG\r\n\x1a\n', 'latin1'),
    pngChunk('IHDR', header),
    pngChunk('IDAT', deflateSync(Buffer.alloc(1000))),
    pngChunk('IEND', Buffer.alloc(0)),
  ]);
}

function pngChunk(type: string, data: Buffer): Buffer {
  const body = Buffer.concat([Buffer.from(type, 'latin1'), data]);
  const ends = Buffer.alloc(8);
  ends.writeUInt32BE(data.length, 0);
  ends.writeUInt32BE(crc32(body), 4);
  return Buffer.concat([ends.subarray(0, 4), body, ends.subarray(4)]);
}

/** Puts an orientation tag into a PNG (eXIf chunk after IHDR) or little-endian TIFF without touching its pixels. */
export function tagOrientation(file: Buffer, orientation: number): Buffer {
  if (file.toString('latin1', 1, 4) === 'PNG') {
    const block = Buffer.from('II*\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0?\0\0\0\0\0\0\0', 'latin1');
    block[18] = orientation;
    const afterHeader = 8 + 25;
    return Buffer.concat([
      file.subarray(0, afterHeader),
      pngChunk('eXIf', block),
      file.subarray(afterHeader),
    ]);
  }
  const tagged = Buffer.from(file);
  const directory = tagged.readUInt32LE(4);
  for (let i = 0; i < tagged.readUInt16LE(directory); i++) {
    const entry = directory + 2 + i * 12;
    if (tagged.readUInt16LE(entry) === 274) tagged.writeUInt16LE(orientation, entry + 8);
  }
  return tagged;
}

/** A listed frame over one file, for decoding without a folder listing. */
export function frameOf(
  path: string,
  facts: Pick<FrameFile, 'size' | 'format'> & Partial<FrameFile>,
): FrameFile {
  return {
    number: 1,
    path,
    name: path.slice(path.lastIndexOf('/') + 1),
    sizeBytes: 0,
    modifiedMs: 0,
    bits: 8,
    channels: 3,
    hasAlpha: false,
    orientation: 1,
    exif: {},
    ...facts,
  };
}

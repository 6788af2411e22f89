import sharp from 'sharp';
import { named, OutputError } from '../errors.js';
import { throwIfStopped } from './output-failure.js';
import { writeOutputFile } from './output-file.js';

export interface JpegOptions {
  /** ICC profile, carried byte for byte. */
  icc?: Buffer | undefined;
  /** EXIF as a TIFF structure, without 'Exif\0\0'. */
  exif?: Buffer | undefined;
  /** 1 to 100. Default 95. */
  quality?: number;
  signal?: AbortSignal | undefined;
}

/** Longest content of a JPEG segment, whose length field of two bytes counts itself. */
const maxSegmentBytes = 65533;
/** Longest side that a JPEG can have, px. */
export const maxJpegSide = 65535;
const exifMarker = Buffer.from('Exif\0\0', 'latin1');
const iccMarker = Buffer.from('ICC_PROFILE\0', 'latin1');

/** True when an EXIF block fits the one segment that JPEG has for it. */
export function fitsJpegExif(exif: Buffer): boolean {
  return exif.length + exifMarker.length <= maxSegmentBytes;
}

/**
 * A JPEG of 8-bit samples with full colour resolution (4:4:4). Profile and EXIF are put in as segments of their
 * own, because the encoder would convert the pixels to a profile that it is told to embed.
 *
 * @param pixels Shape (rows, cols, channels), interleaved; or the path of an uncompressed TIFF that holds them.
 */
export async function encodeJpeg(
  pixels: Uint8Array | string,
  width: number,
  height: number,
  channels: 1 | 3,
  options: JpegOptions = {},
): Promise<Buffer> {
  const raw = { width, height, channels };
  const source =
    typeof pixels === 'string'
      ? sharp(pixels, { ignoreIcc: true, limitInputPixels: false })
      : sharp(pixels, { raw, limitInputPixels: false });
  const plain = await source
    .toColourspace(channels === 1 ? 'b-w' : 'srgb')
    .jpeg({ quality: options.quality ?? 95, chromaSubsampling: '4:4:4' })
    .toBuffer();
  return withSegments(plain, options.icc, options.exif);
}

/** Writes `encodeJpeg` into a file. Throws OutputError where JPEG cannot hold the picture or the disk not the file. */
export async function writeJpeg(
  path: string,
  pixels: Uint8Array | string,
  width: number,
  height: number,
  channels: 1 | 3,
  options: JpegOptions = {},
): Promise<void> {
  if (Math.max(width, height) > maxJpegSide) {
    throw new OutputError(
      `Cannot write ${path}: a JPEG holds ${maxJpegSide} pixels a side but the picture is ${width} x ${height}. Choose ${named('format')} tif or png.`,
    );
  }
  throwIfStopped(options.signal);
  const bytes = await encodeJpeg(pixels, width, height, channels, options);
  await writeOutputFile(path, (file) => file.append(bytes), options.signal);
}

/** Puts APP1 (EXIF, CIPA DC-008) and APP2 (ICC specification, annex B.4) segments behind the start of a JPEG. */
function withSegments(jpeg: Buffer, icc: Buffer | undefined, exif: Buffer | undefined): Buffer {
  const segments: Buffer[] = [];
  if (exif) segments.push(segment(0xe1, Buffer.concat([exifMarker, exif])));
  if (icc) {
    const partBytes = maxSegmentBytes - iccMarker.length - 2;
    const parts = Math.ceil(icc.length / partBytes);
    for (let i = 0; i < parts; i++) {
      const part = icc.subarray(i * partBytes, (i + 1) * partBytes);
      segments.push(segment(0xe2, Buffer.concat([iccMarker, Buffer.from([i + 1, parts]), part])));
    }
  }
  // EXIF wants to be first behind the start marker; readers take a JFIF segment behind it too.
  return Buffer.concat([jpeg.subarray(0, 2), ...segments, jpeg.subarray(2)]);
}

function segment(marker: number, data: Buffer): Buffer {
  const head = Buffer.from([0xff, marker, 0, 0]);
  head.writeUInt16BE(data.length + 2, 2);
  return Buffer.concat([head, data]);
}

import { join } from 'node:path';
import sharp, { type Sharp } from 'sharp';
import { InputError } from '../errors.js';
import type { Size } from '../image/image.js';
import type { RunRecord } from '../result/run-record.js';
import { firstLine } from '../stack/file-error.js';
import { requireRegularFile } from '../stack/regular-file.js';

/** The composite in sRGB, 8 bits, at another size: (rows, cols, 3). */
export async function compositeColours(folder: string, record: RunRecord, size: Size): Promise<Uint8Array> {
  return readComposite(folder, record, async (picture) => {
    const { data } = await picture
      .resize(size.width, size.height, { fit: 'fill' })
      .raw({ depth: 'uchar' })
      .toBuffer({ resolveWithObject: true });
    return new Uint8Array(data.buffer, data.byteOffset, data.byteLength);
  });
}

/** The composite's own samples at another size, rounded to 8 bits, and the profile they are meant in. */
export async function storedColours(
  folder: string,
  record: RunRecord,
  size: Size,
): Promise<{ pixels: Uint8Array; icc: Buffer | undefined }> {
  const take = async (picture: Sharp) => {
    const { icc } = await picture.metadata();
    const { width, height } = size;
    const data = await picture.resize(width, height, { fit: 'fill' }).raw({ depth: 'uchar' }).toBuffer();
    return { pixels: new Uint8Array(data.buffer, data.byteOffset, data.byteLength), icc };
  };
  // A grey profile does not go with the three channels that come out.
  const { pixels, icc } = await readComposite(folder, record, take, { ignoreIcc: true });
  return { pixels, icc: record.composite.channels === 3 ? icc : undefined };
}

/** The composite in sRGB as a JPEG, no side longer than `maxSide`. */
export async function compositeJpeg(folder: string, record: RunRecord, maxSide: number): Promise<Buffer> {
  return readComposite(folder, record, (picture) =>
    picture
      .resize({ width: maxSide, height: maxSide, fit: 'inside', withoutEnlargement: true })
      .jpeg({ quality: 92, chromaSubsampling: '4:4:4' })
      .toBuffer(),
  );
}

/** Streamed by the decoder: memory follows what comes out. */
async function readComposite<T>(
  folder: string,
  record: RunRecord,
  take: (picture: Sharp) => Promise<T>,
  { ignoreIcc = false } = {},
): Promise<T> {
  const path = join(folder, record.composite.file);
  try {
    await requireRegularFile(path);
    return await take(
      sharp(path, { limitInputPixels: false, ignoreIcc }).removeAlpha().toColourspace('srgb'),
    );
  } catch (error) {
    throw new InputError(
      `Cannot read ${path} (${firstLine(error)}): it is missing or damaged. Merge the stack again.`,
      {
        cause: error,
      },
    );
  }
}

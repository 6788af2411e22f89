import { join } from 'node:path';
import sharp, { type Sharp } from 'sharp';
import { InputError } from '../errors.js';
import type { Result } from '../result/read-result.js';
import { requireRegularFile } from '../stack/regular-file.js';
import type { PictureRegion } from './picture-region.js';

/** The maps of a result over a region, arrays of shape (height, width). */
export interface RegionMaps {
  sources: Uint16Array;
  depth: Float32Array;
  /** 0 to 255. */
  confidence: Uint8Array;
  /** Packed 0xrrggbb of the class's colour. */
  coverageColours: Uint32Array;
}

/** Reads the maps of a result over a region; memory follows the region. */
export async function readRegionMaps(result: Result, region: PictureRegion): Promise<RegionMaps> {
  const { maps } = result.record;
  const [sources, depth, confidence, coverage] = await Promise.all([
    readPart(result, maps.sources.file, region, (picture) =>
      picture.toColourspace('grey16').raw({ depth: 'ushort' }),
    ),
    readPart(result, maps.depth.file, region, (picture) =>
      picture.toColourspace('b-w').raw({ depth: 'float' }),
    ),
    readPart(result, maps.confidence.file, region, (picture) =>
      picture.toColourspace('b-w').raw({ depth: 'uchar' }),
    ),
    readPart(result, maps.coverage.file, region, (picture) =>
      picture.removeAlpha().toColourspace('srgb').raw({ depth: 'uchar' }),
    ),
  ]);
  return {
    sources: new Uint16Array(sources),
    depth: new Float32Array(depth),
    confidence: new Uint8Array(confidence),
    coverageColours: packedColours(new Uint8Array(coverage)),
  };
}

/** The composite over a region as 8-bit RGB, (height, width, 3), for the eye. */
export async function readCompositeRegion(result: Result, region: PictureRegion): Promise<Uint8Array> {
  const { file, bits } = result.record.composite;
  const bytes = await readPart(result, file, region, (picture) =>
    bits === 16
      ? picture.toColourspace('rgb16').raw({ depth: 'ushort' })
      : picture.toColourspace('srgb').raw({ depth: 'uchar' }),
  );
  if (bits === 8) return new Uint8Array(bytes);
  return Uint8Array.from(new Uint16Array(bytes), (value) => Math.round(value / 257));
}

async function readPart(
  { folder, record }: Result,
  file: string,
  { x, y, width, height }: PictureRegion,
  convert: (picture: Sharp) => Sharp,
): Promise<ArrayBuffer> {
  const path = join(folder, file);
  const { size } = record;
  try {
    await requireRegularFile(path);
    const source = sharp(path, { ignoreIcc: true, limitInputPixels: false });
    const stored = await source.metadata();
    if (stored.width !== size.width || stored.height !== size.height) {
      throw new InputError(
        `Expected ${size.width} x ${size.height} pixels for ${path} but received ${stored.width} x ${stored.height}. Merge the stack again.`,
      );
    }
    const bytes = await convert(source.extract({ left: x, top: y, width, height })).toBuffer();
    return bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength) as ArrayBuffer;
  } catch (error) {
    if (error instanceof InputError) throw error;
    throw new InputError(`Cannot read ${path}: it is missing or damaged. Merge the stack again.`, {
      cause: error,
    });
  }
}

function packedColours(rgb: Uint8Array): Uint32Array {
  return Uint32Array.from(
    { length: rgb.length / 3 },
    (_, i) => (rgb[3 * i] << 16) | (rgb[3 * i + 1] << 8) | rgb[3 * i + 2],
  );
}

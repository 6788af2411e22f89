import { join } from 'node:path';
import sharp, { type Sharp } from 'sharp';
import { InputError } from '../errors.js';
import { requireRegularFile } from '../stack/regular-file.js';
import { readRunRecord } from './read-run-record.js';
import type { CoverageClassRecord, RunRecord } from './run-record.js';
import type { Picture } from './write-composite.js';
import type { ResultMaps } from './write-maps.js';

/** A result folder read back: its record at once, pixels when asked for. */
export interface Result {
  folder: string;
  record: RunRecord;
  /** (rows, cols), in the unit of `record.maps.depth`; NaN: none. */
  readDepth(): Promise<Float32Array>;
  /** (rows, cols), frame numbers from 1; 0: none. */
  readSources(): Promise<Uint16Array>;
  /** (rows, cols), confidence times 255. */
  readConfidence(): Promise<Uint8Array>;
  /** (rows, cols), index into `coverageClassNames`. */
  readCoverage(): Promise<Uint8Array>;
  /** All four at once. */
  readMaps(): Promise<ResultMaps>;
  /** Stored samples without any colour conversion, and the profile they are meant in. */
  readComposite(): Promise<Picture & { icc?: Buffer | undefined }>;
}

/**
 * Opens a result folder. Arrays have shape (rows, cols) of `record.size` and the values of `ResultMaps`.
 *
 * @throws InputError when the folder is no result, newer than this program, or damaged; the readers of pixels
 *   reject with one when a file is missing, damaged, or not of the recorded size.
 */
export async function readResult(folder: string): Promise<Result> {
  const record = await readRunRecord(folder);
  const { maps, composite, size } = record;
  const open = (file: string) => openPixels(folder, file, record);

  const readDepth = async () => {
    const bytes = await pixelBytes(folder, maps.depth.file, async (path) =>
      (await open(path)).toColourspace('b-w').raw({ depth: 'float' }),
    );
    return new Float32Array(bytes);
  };
  const readSources = async () => {
    const bytes = await pixelBytes(folder, maps.sources.file, async (path) =>
      (await open(path)).toColourspace('grey16').raw({ depth: 'ushort' }),
    );
    return new Uint16Array(bytes);
  };
  const readConfidence = async () => {
    const bytes = await pixelBytes(folder, maps.confidence.file, async (path) =>
      (await open(path)).toColourspace('b-w').raw({ depth: 'uchar' }),
    );
    return new Uint8Array(bytes);
  };
  const readCoverage = async () => {
    const bytes = await pixelBytes(folder, maps.coverage.file, async (path) =>
      (await open(path)).removeAlpha().toColourspace('srgb').raw({ depth: 'uchar' }),
    );
    return classIndices(new Uint8Array(bytes), maps.coverage.classes, join(folder, maps.coverage.file));
  };
  return {
    folder,
    record,
    readDepth,
    readSources,
    readConfidence,
    readCoverage,
    async readMaps() {
      return {
        ...size,
        depth: await readDepth(),
        sources: await readSources(),
        confidence: await readConfidence(),
        coverage: await readCoverage(),
      };
    },
    async readComposite() {
      const is16 = composite.bits === 16;
      const space = composite.channels === 1 ? (is16 ? 'grey16' : 'b-w') : is16 ? 'rgb16' : 'srgb';
      const bytes = await pixelBytes(folder, composite.file, async (path) =>
        (await open(path)).toColourspace(space).raw({ depth: is16 ? 'ushort' : 'uchar' }),
      );
      const pixels = is16 ? new Uint16Array(bytes) : new Uint8Array(bytes);
      const { icc } = await (await open(composite.file)).metadata();
      return { pixels, ...size, channels: composite.channels, icc };
    },
  };
}

/** A file of the result, refused when it is not of the recorded size. */
async function openPixels(folder: string, file: string, record: RunRecord): Promise<Sharp> {
  const path = join(folder, file);
  await requireRegularFile(path);
  const source = sharp(path, { ignoreIcc: true, limitInputPixels: false });
  const { width, height } = await source.metadata();
  if (width !== record.size.width || height !== record.size.height) {
    throw new InputError(
      `Expected ${record.size.width} x ${record.size.height} pixels for ${path} but received ${width} x ${height}. Merge the stack again.`,
    );
  }
  return source;
}

async function pixelBytes(
  folder: string,
  file: string,
  decode: (file: string) => Promise<Sharp>,
): Promise<ArrayBuffer> {
  try {
    const bytes = await (await decode(file)).toBuffer();
    // A buffer of its own, so that arrays of wider samples may lie on it without a copy.
    const isWhole = bytes.byteOffset === 0 && bytes.byteLength === bytes.buffer.byteLength;
    const whole = isWhole
      ? bytes.buffer
      : bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength);
    return whole as ArrayBuffer;
  } catch (error) {
    if (error instanceof InputError) throw error;
    throw new InputError(
      `Cannot read ${join(folder, file)}: it is missing or damaged. Merge the stack again.`,
      {
        cause: error,
      },
    );
  }
}

/** Palette colours turned back to their indices: sharp hands out no indices. */
function classIndices(rgb: Uint8Array, classes: readonly CoverageClassRecord[], path: string): Uint8Array {
  const classAt = new Map(classes.map(({ colour, value }) => [Number.parseInt(colour.slice(1), 16), value]));
  const indices = new Uint8Array(rgb.length / 3);
  for (let i = 0; i < indices.length; i++) {
    const value = classAt.get((rgb[i * 3] << 16) | (rgb[i * 3 + 1] << 8) | rgb[i * 3 + 2]);
    if (value === undefined)
      throw new InputError(`${path} has a colour of no coverage class. Merge the stack again.`);
    indices[i] = value;
  }
  return indices;
}

import { fsyncSync, readSync, writeSync } from 'node:fs';
import type { FileHandle } from 'node:fs/promises';
import { InputError } from '../errors.js';
import type { Size } from '../image/image.js';
import { openRegularFile } from '../stack/regular-file.js';
import type { PictureRegion } from '../trace/picture-region.js';
import { type FlatTiff, flatTiffIn } from './flat-tiff.js';

export type Samples = Uint8Array | Uint16Array | Float32Array;

/** A picture of which any part of a row can be read at once. */
export interface RowSource extends Size {
  readonly channels: number;
  readonly bits: 8 | 16 | 32;
  /** Reads `count` pixels from column `x` of row `y`; `into` holds count * channels samples. */
  readRow(y: number, x: number, count: number, into: Samples): void;
}

/** An uncompressed TIFF, read, or changed, where it lies: nothing of it is kept in memory. */
export class Raster implements RowSource {
  readonly width: number;
  readonly height: number;
  readonly channels: number;
  readonly bits: 8 | 16 | 32;
  private readonly offset: number;

  private constructor(
    private readonly handle: FileHandle,
    layout: FlatTiff,
  ) {
    this.width = layout.width;
    this.height = layout.height;
    this.channels = layout.channels;
    this.bits = layout.bits;
    this.offset = layout.offset;
  }

  /** Undefined when the file is not of this kind. */
  static async open(path: string, flags: 'r' | 'r+' = 'r'): Promise<Raster | undefined> {
    // Layout and samples by one handle: another file may take the name at any time.
    const handle = await openRegularFile(path, flags);
    try {
      const layout = await flatTiffIn(handle);
      if (layout) return new Raster(handle, layout);
    } catch (error) {
      await handle.close();
      throw error;
    }
    await handle.close();
    return undefined;
  }

  readRow(y: number, x: number, count: number, into: Samples): void {
    const bytes = count * this.channels * (this.bits / 8);
    const position = this.offset + ((y * this.width + x) * this.channels * this.bits) / 8;
    const target = new Uint8Array(into.buffer, into.byteOffset, bytes);
    if (readSync(this.handle.fd, target, 0, bytes, position) !== bytes) {
      throw new InputError('A picture of the result was cut short while it was shown. Open it again.');
    }
  }

  /** Overwrites pixels from column `x` of row `y` on. */
  writeRow(y: number, x: number, samples: Samples): void {
    const position = this.offset + ((y * this.width + x) * this.channels * this.bits) / 8;
    const bytes = new Uint8Array(samples.buffer, samples.byteOffset, samples.byteLength);
    for (let done = 0; done < bytes.length; ) {
      done += writeSync(this.handle.fd, bytes, done, bytes.length - done, position + done);
    }
  }

  /** Waits until the disk holds what was written. */
  sync(): void {
    fsyncSync(this.handle.fd);
  }

  async close(): Promise<void> {
    await this.handle.close();
  }
}

export function takeSamples(bits: 8 | 16 | 32, length: number): Samples {
  return bits === 8
    ? new Uint8Array(length)
    : bits === 16
      ? new Uint16Array(length)
      : new Float32Array(length);
}

/** All samples of a region, interleaved. */
export function readRegion(source: RowSource, region: PictureRegion): Samples {
  const rowSamples = region.width * source.channels;
  const out = takeSamples(source.bits, rowSamples * region.height);
  for (let y = 0; y < region.height; y++) {
    const row = out.subarray(y * rowSamples, (y + 1) * rowSamples);
    source.readRow(region.y + y, region.x, region.width, row);
  }
  return out;
}

/** Overwrites a region with samples as `readRegion` gives them. */
export function writeRegion(raster: Raster, region: PictureRegion, samples: Samples): void {
  const rowSamples = region.width * raster.channels;
  for (let y = 0; y < region.height; y++) {
    raster.writeRow(region.y + y, region.x, samples.subarray(y * rowSamples, (y + 1) * rowSamples));
  }
}

import { type FileHandle, open, rm, statfs } from 'node:fs/promises';
import { join } from 'node:path';
import { fillFrom } from '../regular-file.js';
import { flatTiffHeader } from './flat-tiff-header.js';
import type { DevelopedPixels } from './raw-jobs.js';

/** Free space that is left on the disk for the result and for other programs, bytes. */
export const sparedBytes = 2e9;
/** Offsets in such a file have 32 bits. */
const maxFileBytes = 2 ** 32 - 1;

/**
 * Developed frames in a folder, as uncompressed TIFF, so that later readings need not develop them again. It stops
 * keeping when the disk gets full: a frame that is not kept is developed again.
 */
export class DevelopedFrames {
  private readonly kept = new Map<number, Omit<DevelopedPixels, 'samples'> & { path: string }>();
  /** Frames for which there was no room. */
  readonly refused = new Set<number>();

  /**
   * @param folder Of this object alone; who made it removes it.
   * @param hasRoom Whether the disk is expected to hold all frames that will come.
   */
  constructor(
    readonly folder: string,
    readonly hasRoom = true,
  ) {}

  /** The file of a frame that is kept. */
  pathOf(number: number): string | undefined {
    return this.kept.get(number)?.path;
  }

  /** Removes a frame that is kept. */
  async drop(number: number): Promise<void> {
    const entry = this.kept.get(number);
    this.kept.delete(number);
    if (entry) await rm(entry.path, { force: true });
  }

  /** Keeps a frame if there is room for it. */
  async keep(number: number, { width, height, channels, samples }: DevelopedPixels): Promise<void> {
    const path = join(this.folder, `${number}.tif`);
    const header = flatTiffHeader(width, height, channels);
    const bytes = Buffer.from(samples.buffer, samples.byteOffset, samples.byteLength);
    const length = header.length + bytes.length;
    let handle: FileHandle | undefined;
    try {
      const { bavail, bsize } = await statfs(this.folder);
      if (length > maxFileBytes || bavail * bsize - length < sparedBytes) {
        this.refused.add(number);
        return;
      }
      handle = await open(path, 'w', 0o600);
      await writeAll(handle, header, 0);
      await writeAll(handle, bytes, header.length);
      this.kept.set(number, { path, width, height, channels });
    } catch {
      // A frame that is not kept is developed again, and nothing else.
      this.refused.add(number);
      await rm(path, { force: true }).catch(() => undefined);
    } finally {
      await handle?.close();
    }
  }

  /** Samples of a frame that is kept; 0 when it is not. */
  samplesOf(number: number): number {
    const { width, height, channels } = this.kept.get(number) ?? { width: 0, height: 0, channels: 1 };
    return width * height * channels;
  }

  /** A frame that is kept; undefined when it is not. */
  async read(number: number): Promise<DevelopedPixels | undefined> {
    const entry = this.kept.get(number);
    if (!entry) return undefined;
    const { width, height, channels } = entry;
    const samples = new Uint16Array(width * height * channels);
    await this.readInto(number, samples);
    return { width, height, channels, samples };
  }

  /** Reads samples of a frame that is kept, of its `samplesOf`, from one on: as many as there is room for. */
  async readInto(number: number, samples: Uint16Array, first = 0): Promise<void> {
    const { path, width, height, channels } = this.kept.get(number)!;
    const offset = flatTiffHeader(width, height, channels).length + 2 * first;
    const bytes = new Uint8Array(samples.buffer, samples.byteOffset, samples.byteLength);
    const handle = await open(path, 'r');
    try {
      if ((await fillFrom(handle, offset, bytes)) < bytes.length)
        throw new Error(`${path} was cut short while it was in use`);
    } finally {
      await handle.close();
    }
  }
}

async function writeAll(handle: FileHandle, bytes: Buffer, position: number): Promise<void> {
  let written = 0;
  while (written < bytes.length) {
    const { bytesWritten } = await handle.write(bytes, written, bytes.length - written, position + written);
    written += bytesWritten;
  }
}

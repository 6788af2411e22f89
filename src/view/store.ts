import { rmSync } from 'node:fs';
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp, { type Sharp } from 'sharp';
import { InputError } from '../errors.js';
import { firstLine } from '../stack/file-error.js';
import { Raster } from './raster.js';

/** How the samples of a file are to be stored. */
export type Content = 'colour' | 'grey8' | 'grey16';

/**
 * A hidden folder of the system's temporary files with uncompressed copies of pictures that cannot be read by parts.
 * It goes with the program.
 */
export class Store {
  private made = 0;

  private constructor(private readonly folder: string) {}

  static async open(): Promise<Store> {
    const store = new Store(await mkdtemp(join(tmpdir(), 'lamella-view-')));
    process.once('exit', store.removeNow);
    return store;
  }

  private readonly removeNow = () => rmSync(this.folder, { recursive: true, force: true });

  async close(): Promise<void> {
    process.off('exit', this.removeNow);
    await rm(this.folder, { recursive: true, force: true });
  }

  /** Opens a picture for reading by parts: where it lies when it can be, else as a copy, which is streamed to disk. */
  async raster(path: string, content: Content): Promise<Raster> {
    const direct = /\.tiff?$/i.test(path) ? await Raster.open(path).catch(() => undefined) : undefined;
    return direct ?? this.copy(path, content);
  }

  /** An uncompressed copy of a picture, upright, its profile not applied. */
  async copy(path: string, content: Content): Promise<Raster> {
    const copy = join(this.folder, `${++this.made}.tif`);
    try {
      const options = { ignoreIcc: true, limitInputPixels: false, failOn: 'warning' } as const;
      const { depth, channels } = await sharp(path, options).metadata();
      const picture = sharp(path, options).autoOrient().removeAlpha();
      await stored(picture, content, depth === 'ushort', channels < 3)
        .tiff({ compression: 'none' })
        .toFile(copy);
    } catch (error) {
      throw new InputError(`Cannot open ${path} (${firstLine(error)}).`, { cause: error });
    }
    const raster = await Raster.open(copy);
    if (!raster) throw new Error(`${copy} was not written as it should be`);
    // The open descriptor keeps the bytes until it is closed; where the system refuses, they go at the end.
    await rm(copy, { force: true }).catch(() => undefined);
    return raster;
  }
}

function stored(picture: Sharp, content: Content, isDeep: boolean, isGrey: boolean): Sharp {
  if (content === 'grey8') return picture.toColourspace('b-w');
  if (content === 'grey16') return picture.toColourspace('grey16');
  if (isDeep) return picture.toColourspace(isGrey ? 'grey16' : 'rgb16');
  return picture.toColourspace(isGrey ? 'b-w' : 'srgb');
}

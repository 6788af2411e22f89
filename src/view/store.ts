import { rmSync } from 'node:fs';
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { type Content, flatCopy } from '../mend/flat-copy.js';
import { Raster } from '../mend/raster.js';

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

  /** An uncompressed copy of a picture: see `flatCopy`. */
  async copy(path: string, content: Content): Promise<Raster> {
    const copy = join(this.folder, `${++this.made}.tif`);
    const raster = await flatCopy(path, content, copy);
    // The open descriptor keeps the bytes until it is closed; where the system refuses, they go at the end.
    await rm(copy, { force: true }).catch(() => undefined);
    return raster;
  }
}

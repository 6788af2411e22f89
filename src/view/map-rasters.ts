import { join } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import type { Content } from '../mend/flat-copy.js';
import type { Raster } from '../mend/raster.js';
import type { RunRecord } from '../result/run-record.js';
import type { Store } from './store.js';

export type MapName = 'depth' | 'sources' | 'confidence' | 'coverage';

/** In the order in which they are opened: the one most asked for first. */
export const mapNames: readonly MapName[] = ['depth', 'sources', 'confidence', 'coverage'];

const contents: Record<MapName, Content> = {
  depth: 'grey16',
  sources: 'grey16',
  confidence: 'grey8',
  coverage: 'colour',
};

/** A map that cannot be opened is tried again: its result may just be replaced by one that was mended. */
const tries = 10;
const tryAgainMs = 100;

/**
 * The maps of a result, opened in the background, the one most asked for first. Whoever reads them does so within `use`:
 * what is retired meanwhile stays open until the last reader has done.
 */
export class MapRasters {
  private readonly opening = new Map<MapName, Promise<Raster>>();
  private readonly opened = new Map<MapName, Raster>();
  private users = 0;
  private isRetired = false;
  private closing: Promise<void> = Promise.resolve();

  constructor(
    private readonly store: Store,
    private readonly folder: string,
    private readonly record: RunRecord,
  ) {}

  /** Does work that reads these maps; none of them is closed before it has ended. */
  async use<T>(work: (maps: MapRasters) => Promise<T> | T): Promise<T> {
    this.users++;
    try {
      return await work(this);
    } finally {
      this.users--;
      this.closeUnused();
    }
  }

  /** A map, opened when it is not yet. Rejects with InputError when its file is missing or damaged. */
  open(name: MapName): Promise<Raster> {
    const known = this.opening.get(name);
    if (known) return known;
    const opening = this.openNow(name).then((raster) => {
      this.opened.set(name, raster);
      return raster;
    });
    this.opening.set(name, opening);
    opening.catch(() => this.opening.delete(name));
    return opening;
  }

  private async openNow(name: MapName): Promise<Raster> {
    const path = join(this.folder, this.record.maps[name].file);
    for (let left = tries; ; left--) {
      try {
        return await this.store.raster(path, contents[name]);
      } catch (error) {
        if (left <= 1) throw error;
        await pause(tryAgainMs);
      }
    }
  }

  /** Opens all maps, one after the other: side by side they would only hold up the picture. */
  async openAll(): Promise<void> {
    await this.use(async () => {
      for (const name of mapNames) await this.open(name);
    });
  }

  /** A map that is open already. */
  ready(name: MapName): Raster | undefined {
    return this.opened.get(name);
  }

  /** Whether any map was asked for yet. */
  get isAsked(): boolean {
    return this.opening.size > 0;
  }

  get allReady(): boolean {
    return this.opened.size === mapNames.length;
  }

  /** Closes the maps as soon as nobody uses them; resolves when those that nobody uses now are closed. */
  async retire(): Promise<void> {
    this.isRetired = true;
    this.closeUnused();
    await this.closing;
  }

  private closeUnused(): void {
    if (!this.isRetired || this.users > 0) return;
    const rasters = [...this.opening.values()];
    this.opening.clear();
    this.opened.clear();
    this.closing = Promise.allSettled(rasters).then(async (settled) => {
      for (const raster of settled) if (raster.status === 'fulfilled') await raster.value.close();
    });
  }
}

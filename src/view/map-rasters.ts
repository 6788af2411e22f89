import { join } from 'node:path';
import type { Content } from '../mend/flat-copy.js';
import type { Raster } from '../mend/raster.js';
import type { RunRecord } from '../result/run-record.js';

import type { Store } from './store.js';

export type MapName = 'depth' | 'sources' | 'confidence' | 'coverage';

const contents: Record<MapName, Content> = {
  depth: 'grey16',
  sources: 'grey16',
  confidence: 'grey8',
  coverage: 'colour',
};

/** The maps of a result, opened in the background, the one most asked for first. */
export class MapRasters {
  private readonly opening = new Map<MapName, Promise<Raster>>();
  private readonly opened = new Map<MapName, Raster>();

  constructor(
    private readonly store: Store,
    private readonly folder: string,
    private readonly record: RunRecord,
  ) {}

  /** A map, opened when it is not yet. Rejects with InputError when its file is missing or damaged. */
  open(name: MapName): Promise<Raster> {
    const known = this.opening.get(name);
    if (known) return known;
    const path = join(this.folder, this.record.maps[name].file);
    const opening = this.store.raster(path, contents[name]).then((raster) => {
      this.opened.set(name, raster);
      return raster;
    });
    this.opening.set(name, opening);
    opening.catch(() => this.opening.delete(name));
    return opening;
  }

  /** Opens all maps, one after the other: side by side they would only hold up the picture. */
  async openAll(): Promise<void> {
    for (const name of ['depth', 'sources', 'confidence', 'coverage'] as const) await this.open(name);
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
    return this.opened.size === Object.keys(contents).length;
  }

  close(): void {
    for (const raster of this.opened.values()) raster.close();
    this.opened.clear();
    this.opening.clear();
  }
}

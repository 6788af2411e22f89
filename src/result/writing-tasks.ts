import { setImmediate } from 'node:timers/promises';
import type { MapPictures } from './report/report-pictures.js';
import type { Thumbnail } from './report/thumbnails.js';
import { bandsOf } from './rows.js';
import type { RunRecord } from './run-record.js';
import {
  countStored,
  noCounts,
  type StoredCounts,
  type StoredMaps,
  storedDepthPngRows,
  storedRows,
} from './stored-maps.js';
import { type CompositeOptions, type Picture, writeComposite } from './write-composite.js';
import { type DepthRange, type MapFile, writeMapFile } from './write-maps.js';

interface RowsToCount {
  maps: StoredMaps;
  numbers: Uint16Array;
  top: number;
  bottom: number;
}

interface MapToDraw {
  map: keyof MapPictures;
  maps: StoredMaps;
  record: Pick<RunRecord, 'frames' | 'direction'>;
  range: DepthRange;
}

interface RowsToShrink {
  picture: Picture;
  maxSide: number;
  from: number;
  to: number;
}

/**
 * What writing a result is made of: each a function of plain data, in this thread or in one of its own. There is a signal in
 * this thread alone. What only some of them need is loaded by them, so that their threads start sooner.
 */
export const writingTasks = {
  /** Memory of zeros that threads share, its pages there. */
  async take({ bytes }: { bytes: number }): Promise<SharedArrayBuffer> {
    const memory = new SharedArrayBuffer(bytes);
    new Uint8Array(memory).fill(0);
    return memory;
  },

  /** Counts rows of the maps: see `countStored`. */
  async count({ maps, numbers, top, bottom }: RowsToCount): Promise<StoredCounts> {
    const counts = noCounts();
    for (const [from, to] of bandsOf(bottom - top)) {
      countStored(maps, numbers, top + from, top + to, counts);
      // Who has other work in this thread gets at it between bands.
      await setImmediate();
    }
    return counts;
  },

  map({ maps, file }: { maps: StoredMaps; file: MapFile }, signal?: AbortSignal): Promise<void> {
    return writeMapFile(storedRows(maps), file, signal, storedDepthPngRows(maps, file.mapping));
  },

  async mapPicture({ map, maps, record, range }: MapToDraw): Promise<string> {
    const { mapPicture } = await import('./report/report-pictures.js');
    return mapPicture(map, storedRows(maps), record, range);
  },

  composite(
    { dir, picture, options }: { dir: string; picture: Picture; options: Omit<CompositeOptions, 'signal'> },
    signal?: AbortSignal,
  ): ReturnType<typeof writeComposite> {
    const { icc, exif, ...others } = options;
    return writeComposite(dir, picture, {
      ...others,
      icc: icc && bufferOf(icc),
      exif: exif && bufferOf(exif),
      signal,
    });
  },

  /** Rows of the thumbnail of a picture. */
  async shrink({ picture, maxSide, from, to }: RowsToShrink): Promise<Uint8Array> {
    const { pictureThumbnailRows } = await import('./report/thumbnails.js');
    return pictureThumbnailRows(picture, maxSide, from, to);
  },

  async compositePicture({
    thumbnail,
    icc,
  }: {
    thumbnail: Thumbnail;
    icc: Uint8Array | undefined;
  }): Promise<string> {
    const { encodeComposite } = await import('./report/report-pictures.js');
    return encodeComposite(thumbnail, icc && bufferOf(icc));
  },
};

/** A `Buffer` arrives in another thread as plain bytes. */
function bufferOf({ buffer, byteOffset, byteLength }: Uint8Array): Buffer {
  return Buffer.from(buffer as ArrayBuffer, byteOffset, byteLength);
}

export type WritingTasks = {
  [Name in keyof typeof writingTasks]: {
    task: Parameters<(typeof writingTasks)[Name]>[0];
    answer: Awaited<ReturnType<(typeof writingTasks)[Name]>>;
  };
};

import type { Size } from '../image/image.js';
import type { Picture } from './write-composite.js';
import type { ResultMaps } from './write-maps.js';

/**
 * A picture that need not be in memory: `rows` gives (bottom - top, width, channels), interleaved, full range of the
 * sample type, from row `top` to the one before `bottom`. To be read before the next call.
 */
export interface PictureRows extends Size {
  channels: 1 | 3;
  rows(top: number, bottom: number): Uint8Array | Uint16Array;
}

/**
 * The maps of a result, that need not be in memory: values as in `ResultMaps`, rows as in `PictureRows`. Where depth is
 * still to be written, its rows stay as they are after further calls.
 */
export interface MapRows extends Size {
  /** @param into Room for them, where they are made anew: they lie there then. */
  depth(top: number, bottom: number, into?: Float32Array): Float32Array;
  sources(top: number, bottom: number): Uint16Array;
  confidence(top: number, bottom: number): Uint8Array;
  coverage(top: number, bottom: number): Uint8Array;
}

/** Rows that are read in one go where all of them are gone through. */
export const bandRows = 64;

export function pictureRows(picture: Picture | PictureRows): PictureRows {
  if ('rows' in picture) return picture;
  const { pixels, width, height, channels } = picture;
  const rows = (top: number, bottom: number) =>
    pixels.subarray(top * width * channels, bottom * width * channels);
  return { width, height, channels, rows };
}

export function mapRows(maps: ResultMaps | MapRows): MapRows {
  if (isRows(maps)) return maps;
  const { width, height, depth, sources, confidence, coverage } = maps;
  return {
    width,
    height,
    depth: (top, bottom) => depth.subarray(top * width, bottom * width),
    sources: (top, bottom) => sources.subarray(top * width, bottom * width),
    confidence: (top, bottom) => confidence.subarray(top * width, bottom * width),
    coverage: (top, bottom) => coverage.subarray(top * width, bottom * width),
  };
}

function isRows(maps: ResultMaps | MapRows): maps is MapRows {
  return typeof maps.depth === 'function';
}

/** The bands of rows of a picture: [top, bottom) of each. */
export function* bandsOf(height: number): Generator<[top: number, bottom: number]> {
  for (let top = 0; top < height; top += bandRows) yield [top, Math.min(height, top + bandRows)];
}

/** Rows of depth in room that is used again: they serve until the next call. */
export function passingDepth({
  width,
  depth,
}: Pick<MapRows, 'width' | 'depth'>): (top: number, bottom: number) => Float32Array {
  let room = new Float32Array(0);
  return (top, bottom) => {
    const samples = (bottom - top) * width;
    if (room.length < samples) room = new Float32Array(samples);
    return depth(top, bottom, room);
  };
}

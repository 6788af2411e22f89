import type { Size } from '../image/image.js';
import { coverageClassNames } from './coverage.js';
import type { MapRows } from './rows.js';
import { type DepthMapping, depthPngRows, finiteRange, type MapsSeen } from './write-maps.js';

/** The maps of a merge as it makes them, of shape (rows, cols). Threads share them where they lie in memory that is shared. */
export interface StoredMaps extends Size {
  depthIndices: Uint16Array;
  /** Depth of each stored depth index. */
  depths: Float32Array;
  /** Numbers of frames; before `countStored` their ordinals. 0 = none. */
  sources: Uint16Array;
  /** 255 = certain. */
  confidence: Uint8Array;
  /** Index into `coverageClasses`. */
  coverage: Uint8Array;
}

/** What is to be known of maps, and how many pixels each frame supplies, by its number. */
export interface StoredSeen extends MapsSeen {
  pixels: Uint32Array;
}

/** What was counted in rows of maps. */
export interface StoredCounts {
  /** Pixels that each frame supplies, by its number. */
  pixels: Uint32Array;
  /** Pixels of each coverage class. */
  coverage: Uint32Array;
  /** Whether a stored depth index tells a depth anywhere. */
  isTold: Uint8Array;
}

/** Values that 16 bits take. */
export const storedValues = 65536;

const outOfReach = coverageClassNames.indexOf('out-of-reach');

/** Depth is made row by row when it is wanted: as a whole it is twice as large as what it is made from. */
export function storedRows({
  width,
  height,
  depthIndices,
  depths,
  sources,
  confidence,
  coverage,
}: StoredMaps): MapRows {
  return {
    width,
    height,
    depth: (top, bottom, into) => {
      const samples = (bottom - top) * width;
      const rows = into?.subarray(0, samples) ?? new Float32Array(samples);
      for (let at = 0, i = top * width; at < rows.length; at++, i++) {
        // Frames that are blurred there reach it, but tell no depth.
        rows[at] = sources[i] !== 0 && coverage[i] !== outOfReach ? depths[depthIndices[i]] : Number.NaN;
      }
      return rows;
    },
    sources: (top, bottom) => sources.subarray(top * width, bottom * width),
    confidence: (top, bottom) => confidence.subarray(top * width, bottom * width),
    coverage: (top, bottom) => coverage.subarray(top * width, bottom * width),
  };
}

/** Rows of depth.png as `depthPngRows` makes them of the depths: looked up by their stored index. */
export function storedDepthPngRows(
  { width, depthIndices, depths, sources, coverage }: StoredMaps,
  mapping: DepthMapping,
): (y: number) => Uint16Array {
  const values = depthPngRows({ width: storedValues, depth: () => depths }, mapping)(0);
  const row = new Uint16Array(width);
  return (y) => {
    for (let x = 0, i = y * width; x < width; x++, i++) {
      row[x] = sources[i] !== 0 && coverage[i] !== outOfReach ? values[depthIndices[i]] : 0;
    }
    return row;
  };
}

export function noCounts(): StoredCounts {
  return {
    pixels: new Uint32Array(storedValues),
    coverage: new Uint32Array(256),
    isTold: new Uint8Array(storedValues),
  };
}

/**
 * Counts rows `top` to `bottom` - 1, once, and replaces the ordinals of frames there by their numbers.
 *
 * @param numbers By ordinal; 0 stays 0.
 * @param counts To which they are added.
 */
export function countStored(
  { width, depthIndices, sources, coverage }: StoredMaps,
  numbers: Uint16Array,
  top: number,
  bottom: number,
  { pixels, coverage: classes, isTold }: StoredCounts,
): void {
  for (let i = top * width; i < bottom * width; i++) {
    const number = numbers[sources[i]];
    const value = coverage[i];
    sources[i] = number;
    pixels[number]++;
    classes[value]++;
    if (number !== 0 && value !== outOfReach) isTold[depthIndices[i]] = 1;
  }
}

/** What is to be known of maps by what was counted in all parts of them. */
export function seenIn(parts: readonly StoredCounts[], { depths }: StoredMaps): StoredSeen {
  const { pixels, coverage, isTold } = noCounts();
  for (const part of parts) {
    for (let i = 0; i < storedValues; i++) {
      pixels[i] += part.pixels[i];
      isTold[i] |= part.isTold[i];
    }
    for (let i = 0; i < coverage.length; i++) coverage[i] += part.coverage[i];
  }
  return { pixels, coverage, range: finiteRange(depths.filter((_, index) => isTold[index] === 1)) };
}

import { join } from 'node:path';
import { setImmediate } from 'node:timers/promises';
import { coverageClasses } from './coverage.js';
import { pictureFile } from './picture-file.js';
import { writePng } from './png-file.js';
import { bandsOf, type MapRows, mapRows, passingDepth } from './rows.js';
import type { DepthPngRecord, DepthUnit, MapsRecord } from './run-record.js';
import { writeTiffRows } from './tiff-file.js';
import { writeTogether } from './write-together.js';

/** The maps of a result, all of shape (rows, cols); any of them may lie on a SharedArrayBuffer. */
export interface ResultMaps {
  width: number;
  height: number;
  /** Distance from the anchor's plane of focus, positive away from the camera; NaN = none. */
  depth: Float32Array;
  /** Frame numbers, 0 = none. */
  sources: Uint16Array;
  /** 255 = certain. */
  confidence: Uint8Array;
  /** Index into `coverageClasses`. */
  coverage: Uint8Array;
}

/** Smallest and largest depth; undefined where there is none. */
export type DepthRange = { min: number; max: number } | undefined;

/** What is to be known of maps before they are written. */
export interface MapsSeen {
  range: DepthRange;
  /** Pixels of each coverage class. */
  coverage: ArrayLike<number>;
}

/** depth = offset + scale * value of depth.png. */
export type DepthMapping = Pick<DepthPngRecord, 'offset' | 'scale'>;

export type MapFileName = 'depth' | 'depthPng' | 'sources' | 'confidence' | 'coverage';

/** One of the files of the maps. */
export interface MapFile {
  name: MapFileName;
  path: string;
  mapping: DepthMapping;
  software: string;
}

export interface WriteMapsOptions {
  /** Unit of `depth`. */
  unit: DepthUnit;
  software: string;
  /** Marks the names of the files as those of a preview. Default false. */
  isPreview?: boolean | undefined;
  /** The TIFF of depth is there already, and is where its rows come from. Default false. */
  hasDepthFile?: boolean;
  /** Mapping for depth.png to keep while the depths fit it. */
  mapping?: DepthMapping | undefined;
  /** What is known of the maps; default: it is found out. */
  seen?: MapsSeen;
  /** Writes one of the files; default: `writeMapFile`. */
  writeFile?: (file: MapFile) => Promise<void>;
  signal?: AbortSignal | undefined;
}

/**
 * Writes the maps into an open result: depth as TIFF and PNG, sources, confidence and coverage as PNG.
 *
 * @returns Their entry in run.json.
 * @throws OutputError when a file cannot be written; InterruptedError when stopped.
 */
export async function writeMaps(
  dir: string,
  maps: ResultMaps | MapRows,
  options: WriteMapsOptions,
): Promise<MapsRecord> {
  const { unit, software, isPreview = false, signal } = options;
  const files = {
    depth: pictureFile('depth', 'tif', isPreview),
    depthPng: pictureFile('depth', 'png', isPreview),
    sources: pictureFile('sources', 'png', isPreview),
    confidence: pictureFile('confidence', 'png', isPreview),
    coverage: pictureFile('coverage', 'png', isPreview),
  };
  const rows = mapRows(maps);
  const { range, coverage } = options.seen ?? (await lookAt(rows));
  const mapping = options.mapping && fits(range, options.mapping) ? options.mapping : depthMapping(range);
  const { writeFile = (file: MapFile) => writeMapFile(rows, file, signal) } = options;
  // Side by side: one deflates while another waits for the disk.
  await writeTogether(
    (Object.keys(files) as MapFileName[])
      .filter((name) => name !== 'depth' || !options.hasDepthFile)
      .map((name) => writeFile({ name, path: join(dir, files[name]), mapping, software })),
  );

  const pixels = rows.width * rows.height;
  return {
    depth: {
      file: files.depth,
      unit,
      noData: 'NaN',
      positive: 'away from the camera',
      min: range?.min ?? null,
      max: range?.max ?? null,
    },
    depthPng: { file: files.depthPng, offset: mapping.offset, scale: mapping.scale, unit, noData: 0 },
    sources: { file: files.sources, noData: 0 },
    confidence: { file: files.confidence, scale: 1 / 255 },
    coverage: {
      file: files.coverage,
      classes: coverageClasses.map(({ name, rgb }, value) => ({
        value,
        name,
        colour: `#${rgb.map((part) => part.toString(16).padStart(2, '0')).join('')}`,
        percent: (100 * coverage[value]) / pixels,
      })),
    },
  };
}

/**
 * Writes one of the files of maps. Throws OutputError, InterruptedError.
 *
 * @param depthRow Rows of depth.png, which are made of the depths by default.
 */
export async function writeMapFile(
  rows: MapRows,
  { name, path, mapping, software }: MapFile,
  signal?: AbortSignal,
  depthRow?: (y: number) => Uint16Array,
): Promise<void> {
  const { width, height } = rows;
  const picture = { width, height, channels: 1, signal } as const;
  switch (name) {
    case 'depth':
      return writeTiffRows(
        path,
        { width, height, channels: 1, rows: passingDepth(rows) },
        { software, signal },
      );
    case 'depthPng':
      return writePng(path, { ...picture, bits: 16, row: depthRow ?? depthPngRows(rows, mapping) });
    case 'sources':
      return writePng(path, { ...picture, bits: 16, row: (y) => rows.sources(y, y + 1) });
    case 'confidence':
      return writePng(path, { ...picture, bits: 8, row: (y) => rows.confidence(y, y + 1) });
    case 'coverage': {
      const palette = coverageClasses.map((entry) => entry.rgb);
      return writePng(path, { ...picture, bits: 8, row: (y) => rows.coverage(y, y + 1), palette });
    }
  }
}

/** Smallest and largest finite value, or undefined when there is none. */
export function finiteRange(values: Float32Array): DepthRange {
  let min = Number.POSITIVE_INFINITY;
  let max = Number.NEGATIVE_INFINITY;
  for (let i = 0; i < values.length; i++) {
    const value = values[i];
    // NaN fails both comparisons.
    if (value < min && value > Number.NEGATIVE_INFINITY) min = value;
    if (value > max && value < Number.POSITIVE_INFINITY) max = value;
  }
  return min <= max ? { min, max } : undefined;
}

/** In bands, so that a caller who has other work in this thread gets at it between. */
async function lookAt(maps: MapRows): Promise<MapsSeen> {
  let range: DepthRange;
  const counts = new Uint32Array(256);
  const depthOf = passingDepth(maps);
  for (const [top, bottom] of bandsOf(maps.height)) {
    range = rangeOfBoth(range, finiteRange(depthOf(top, bottom)));
    for (const value of maps.coverage(top, bottom)) counts[value]++;
    await setImmediate();
  }
  return { range, coverage: counts };
}

/** The range of what has one of two. */
export function rangeOfBoth(one: DepthRange, other: DepthRange): DepthRange {
  if (!one || !other) return one ?? other;
  return { min: Math.min(one.min, other.min), max: Math.max(one.max, other.max) };
}

/** Whether a mapping can express depths, to half a value. */
function fits(range: DepthRange, { offset, scale }: DepthMapping): boolean {
  return range !== undefined && range.min >= offset + 0.5 * scale && range.max <= offset + 65535.5 * scale;
}

/** depth = offset + scale * value, with the range spread over the values 1 to 65535. */
function depthMapping(range: DepthRange): DepthMapping {
  if (!range) return { offset: 0, scale: 1 };
  const scale = range.max > range.min ? (range.max - range.min) / 65534 : 1;
  return { offset: range.min - scale, scale };
}

/** Rows of a 16-bit PNG: (depth - offset) / scale, from 1 to 65535; 0 where there is no depth. */
export function depthPngRows(
  maps: Pick<MapRows, 'width' | 'depth'>,
  { offset, scale }: DepthMapping,
): (y: number) => Uint16Array {
  const { width } = maps;
  const row = new Uint16Array(width);
  const depthOf = passingDepth(maps);
  return (y) => {
    const depth = depthOf(y, y + 1);
    for (let x = 0; x < width; x++) {
      const value = (depth[x] - offset) / scale + 0.5;
      // Cut off to whole numbers as it is stored. What is not a number fails every comparison.
      row[x] = value >= 1 && value < 65536 ? value : Number.isFinite(value) ? (value < 1 ? 1 : 65535) : 0;
    }
    return row;
  };
}

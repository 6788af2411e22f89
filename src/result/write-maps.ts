import { join } from 'node:path';
import { setImmediate } from 'node:timers/promises';
import { coverageClasses } from './coverage.js';
import { pictureFile } from './picture-file.js';
import { writePng } from './png-file.js';
import { bandsOf, type MapRows, mapRows } from './rows.js';
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

export interface WriteMapsOptions {
  /** Unit of `depth`. */
  unit: DepthUnit;
  software: string;
  /** Marks the names of the files as those of a preview. Default false. */
  isPreview?: boolean | undefined;
  /** The TIFF of depth is there already, and is where its rows come from. Default false. */
  hasDepthFile?: boolean;
  /** Mapping for depth.png to keep while the depths fit it. */
  mapping?: Pick<DepthPngRecord, 'offset' | 'scale'> | undefined;
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
  const { width, height } = maps;
  const { unit, software, isPreview = false, signal } = options;
  const files = {
    depth: pictureFile('depth', 'tif', isPreview),
    depthPng: pictureFile('depth', 'png', isPreview),
    sources: pictureFile('sources', 'png', isPreview),
    confidence: pictureFile('confidence', 'png', isPreview),
    coverage: pictureFile('coverage', 'png', isPreview),
  };
  const rows = mapRows(maps);
  const range = await depthRange(rows);
  const mapping = options.mapping && fits(range, options.mapping) ? options.mapping : depthMapping(range);
  const picture = { width, height, channels: 1, signal } as const;

  const confidenceRow = (y: number) => rows.confidence(y, y + 1);
  const palette = coverageClasses.map((entry) => entry.rgb);
  const counts = new Uint32Array(256);
  const coverageRow = (y: number) => {
    const row = rows.coverage(y, y + 1);
    for (let x = 0; x < row.length; x++) counts[row[x]]++;
    return row;
  };
  // Side by side: one deflates while another waits for the disk.
  await writeTogether([
    options.hasDepthFile
      ? Promise.resolve()
      : writeTiffRows(
          join(dir, files.depth),
          { width, height, channels: 1, rows: rows.depth },
          { software, signal },
        ),
    writePng(join(dir, files.depthPng), { ...picture, bits: 16, row: depthPngRows(rows, mapping) }),
    writePng(join(dir, files.sources), { ...picture, bits: 16, row: (y) => rows.sources(y, y + 1) }),
    writePng(join(dir, files.confidence), { ...picture, bits: 8, row: confidenceRow }),
    writePng(join(dir, files.coverage), { ...picture, bits: 8, row: coverageRow, palette }),
  ]);

  const percents = coverageClasses.map((_, value) => (100 * counts[value]) / (width * height));
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
        percent: percents[value],
      })),
    },
  };
}

/** Smallest and largest finite value, or undefined when there is none. */
export function finiteRange(values: Float32Array): { min: number; max: number } | undefined {
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
async function depthRange(maps: MapRows): Promise<{ min: number; max: number } | undefined> {
  let all: { min: number; max: number } | undefined;
  for (const [top, bottom] of bandsOf(maps.height)) {
    const band = finiteRange(maps.depth(top, bottom));
    await setImmediate();
    if (!band) continue;
    all = all ? { min: Math.min(all.min, band.min), max: Math.max(all.max, band.max) } : band;
  }
  return all;
}

/** Whether a mapping can express depths, to half a value. */
function fits(
  range: { min: number; max: number } | undefined,
  { offset, scale }: { offset: number; scale: number },
): boolean {
  return range !== undefined && range.min >= offset + 0.5 * scale && range.max <= offset + 65535.5 * scale;
}

/** depth = offset + scale * value, with the range spread over the values 1 to 65535. */
function depthMapping(range: { min: number; max: number } | undefined): { offset: number; scale: number } {
  if (!range) return { offset: 0, scale: 1 };
  const scale = range.max > range.min ? (range.max - range.min) / 65534 : 1;
  return { offset: range.min - scale, scale };
}

/** Rows of a 16-bit PNG: (depth - offset) / scale, from 1 to 65535; 0 where there is no depth. */
export function depthPngRows(
  maps: Pick<MapRows, 'width' | 'depth'>,
  { offset, scale }: { offset: number; scale: number },
): (y: number) => Uint16Array {
  const { width } = maps;
  const row = new Uint16Array(width);
  return (y) => {
    const depth = maps.depth(y, y + 1);
    for (let x = 0; x < width; x++) {
      const value = (depth[x] - offset) / scale + 0.5;
      // Cut off to whole numbers as it is stored. What is not a number fails every comparison.
      row[x] = value >= 1 && value < 65536 ? value : Number.isFinite(value) ? (value < 1 ? 1 : 65535) : 0;
    }
    return row;
  };
}

import { join } from 'node:path';
import { coverageClasses, coveragePercents } from './coverage.js';
import { writePng } from './png-file.js';
import type { DepthUnit, MapsRecord } from './run-record.js';
import { writeTiff } from './tiff-file.js';

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
  signal?: AbortSignal | undefined;
}

/**
 * Writes depth.tif, depth.png, sources.png, confidence.png and coverage.png into an open result.
 *
 * @returns What run.json tells of them.
 * @throws OutputError when a file cannot be written; InterruptedError when stopped.
 */
export async function writeMaps(
  dir: string,
  maps: ResultMaps,
  options: WriteMapsOptions,
): Promise<MapsRecord> {
  const { width, height, depth, sources, confidence, coverage } = maps;
  const { unit, software, signal } = options;
  const range = finiteRange(depth);
  const mapping = depthMapping(range);
  const picture = { width, height, channels: 1, signal } as const;
  const rowsOf =
    <T extends Uint8Array | Uint16Array>(map: T) =>
    (y: number) =>
      map.subarray(y * width, (y + 1) * width);

  await writeTiff(join(dir, 'depth.tif'), depth, width, height, 1, { software, signal });
  await writePng(join(dir, 'depth.png'), { ...picture, bits: 16, row: depthRows(maps, mapping) });
  await writePng(join(dir, 'sources.png'), { ...picture, bits: 16, row: rowsOf(sources) });
  await writePng(join(dir, 'confidence.png'), { ...picture, bits: 8, row: rowsOf(confidence) });
  const palette = coverageClasses.map((entry) => entry.rgb);
  await writePng(join(dir, 'coverage.png'), { ...picture, bits: 8, row: rowsOf(coverage), palette });

  const percents = coveragePercents(coverage);
  return {
    depth: {
      file: 'depth.tif',
      unit,
      noData: 'NaN',
      positive: 'away from the camera',
      min: range?.min ?? null,
      max: range?.max ?? null,
    },
    depthPng: { file: 'depth.png', ...mapping, unit, noData: 0 },
    sources: { file: 'sources.png', noData: 0 },
    confidence: { file: 'confidence.png', scale: 1 / 255 },
    coverage: {
      file: 'coverage.png',
      classes: coverageClasses.map(({ name, rgb }, value) => ({
        value,
        name,
        colour: `#${rgb.map((part) => part.toString(16).padStart(2, '0')).join('')}`,
        percent: percents[value],
      })),
    },
  };
}

/** Least and greatest finite value, or undefined when there is none. */
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

/** depth = offset + scale * value, with the range spread over the values 1 to 65535. */
function depthMapping(range: { min: number; max: number } | undefined): { offset: number; scale: number } {
  if (!range) return { offset: 0, scale: 1 };
  const scale = range.max > range.min ? (range.max - range.min) / 65534 : 1;
  return { offset: range.min - scale, scale };
}

function depthRows(maps: ResultMaps, mapping: { offset: number; scale: number }): (y: number) => Uint16Array {
  const { width, depth } = maps;
  const row = new Uint16Array(width);
  return (y) => {
    for (let x = 0; x < width; x++) {
      const value = depth[y * width + x];
      const isDepth = Number.isFinite(value);
      row[x] = isDepth
        ? Math.min(65535, Math.max(1, Math.round((value - mapping.offset) / mapping.scale)))
        : 0;
    }
    return row;
  };
}

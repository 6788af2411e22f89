import type { Raster } from '../mend/raster.js';
import { frameNearness } from '../result/frame-nearness.js';
import type { RunRecord } from '../result/run-record.js';
import type { PictureRegion } from '../trace/picture-region.js';
import { type MapName, type MapRasters, mapNames } from './map-rasters.js';
import { onePixel } from './map-spots.js';
import { paintConfidence, paintCoverage, paintDepth, paintSources, type Rgb } from './paint.js';
import type { Section } from './protocol.js';

const maxSectionPoints = 4000;

export function isMapName(layer: string): layer is MapName {
  return mapNames.some((name) => name === layer);
}

/** A map over a region in pixels of a level that shows the composite at 1 / step, in colours. */
export async function paintMap(
  layer: MapName,
  maps: MapRasters,
  record: RunRecord,
  region: PictureRegion,
  step: number,
): Promise<Rgb> {
  const map = await maps.open(layer);
  if (layer === 'sources') return paintSources(map, region, step, frameNearness(record));
  if (layer === 'confidence') return paintConfidence(map, region, step);
  if (layer === 'coverage') return paintCoverage(map, region, step, record);
  const { min, max } = record.maps.depth;
  return paintDepth(map, await maps.open('confidence'), region, step, { near: min ?? 0, far: max ?? 1 });
}

/** Depth at evenly spaced points of a line between two pixels. */
export function sectionOf(
  depth: Raster,
  from: [number, number],
  to: [number, number],
  points: number,
): Section['depths'] {
  const count = Math.max(2, Math.min(maxSectionPoints, points));
  const clamp = (value: number, length: number) => Math.max(0, Math.min(length - 1, Math.round(value)));
  return Array.from({ length: count }, (_, i) => {
    const at = i / (count - 1);
    const x = clamp(from[0] + (to[0] - from[0]) * at, depth.width);
    const y = clamp(from[1] + (to[1] - from[1]) * at, depth.height);
    const [value] = onePixel(depth, x, y);
    return Number.isFinite(value) ? value : null;
  });
}

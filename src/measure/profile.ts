import type { MeasurePoint } from '../result/region-shape.js';
import type { DepthField } from './depth-field.js';
import { type Metric, pointAt } from './metric.js';

/** Depth along a line. */
export interface Profile {
  /** Unit of `along`, and of `height`. */
  unit: { along: 'mm' | 'px'; height: 'mm' | 'step' };
  samples: ProfileSample[];
}

/** A sample of a profile, a pixel from the next at most. */
export interface ProfileSample {
  /** Composite pixel. */
  x: number;
  y: number;
  /** From the first point, across the picture. */
  along: number;
  /** Toward the camera from the anchor's plane of focus; NaN where no depth may be trusted. */
  height: number;
  /** Standard uncertainty of the height. */
  sigma: number;
}

/**
 * The profile from one point to another. Heights between pixels are those of the four around, weighted by area, as far as
 * they are known and lie within a step of the nearest. Perspective is taken out: `along` counts on the line through the
 * first and last sample in space.
 */
export function profileAlong(
  field: DepthField,
  metric: Metric,
  [[x0, y0], [x1, y1]]: readonly MeasurePoint[],
): Profile {
  const lengthPx = Math.hypot(x1 - x0, y1 - y0);
  const count = Math.max(2, Math.ceil(lengthPx) + 1);
  const places = Array.from({ length: count }, (_, i) => {
    const t = i / (count - 1);
    const [x, y] = [x0 + t * (x1 - x0), y0 + t * (y1 - y0)];
    return { x, y, ...interpolate(field, x, y, metric.scale.stepDepth) };
  });
  const lateral = places.map(({ x, y, depth }) => pointAt(metric, x, y, Number.isNaN(depth) ? 0 : depth));
  const [ux, uy] = [(x1 - x0) / (lengthPx || 1), (y1 - y0) / (lengthPx || 1)];
  const start = lateral[0];
  return {
    unit: { along: metric.across, height: metric.along },
    samples: places.map(({ x, y, depth, sigma }, i) => ({
      x,
      y,
      along: (lateral[i][0] - start[0]) * ux + (lateral[i][1] - start[1]) * uy,
      height: -depth * metric.height,
      sigma: sigma * metric.height,
    })),
  };
}

function interpolate(
  field: DepthField,
  x: number,
  y: number,
  step: number,
): { depth: number; sigma: number } {
  const { width, height, depth, sigma } = field;
  const [u, v] = [x - field.x, y - field.y];
  const at = (column: number, row: number) =>
    column >= 0 && row >= 0 && column < width && row < height ? row * width + column : -1;
  const nearest = at(Math.round(u), Math.round(v));
  const own = nearest < 0 ? Number.NaN : depth[nearest];
  if (!Number.isFinite(own)) return { depth: Number.NaN, sigma: Number.NaN };
  const [left, top] = [Math.floor(u), Math.floor(v)];
  let sum = 0;
  let weights = 0;
  for (const [column, row] of [
    [left, top],
    [left + 1, top],
    [left, top + 1],
    [left + 1, top + 1],
  ]) {
    const i = at(column, row);
    const weight = (1 - Math.abs(u - column)) * (1 - Math.abs(v - row));
    if (i < 0 || weight <= 0 || !(Math.abs(depth[i] - own) <= step)) continue;
    sum += weight * depth[i];
    weights += weight;
  }
  return { depth: sum / weights, sigma: sigma[nearest] };
}

/** The share of the samples whose height is known, 0 to 1. */
export function knownShare({ samples }: Profile): number {
  return samples.filter(({ height }) => Number.isFinite(height)).length / samples.length;
}

/** What lengths in the picture mean; without mm a result knows pixels and steps alone. */
export interface Metric {
  unit: 'mm' | 'step';
  /** Side of a pixel at the anchor's plane of focus. */
  mmPerPixel: number | null;
  /** Middle of the picture, which the rail moves towards. */
  centre: [number, number];
  /** Frames along the depth axis: depth and composite pixels per frame pixel. */
  frames: readonly { depth: number; scale: number }[];
}

export interface Point3 {
  x: number;
  y: number;
  /** In the unit of depth; null where unknown. */
  depth: number | null;
}

/**
 * Side of a composite pixel at a depth, mm. On a rail every frame shows its own plane of focus at the same size, so a
 * plane whose frame lies `scale` times as large in the composite has pixels 1 / scale as large. Between planes 1 / scale
 * is taken as linear, as it is on a rail.
 */
export function mmPerPixelAt(metric: Metric, depth: number | null): number | null {
  if (metric.mmPerPixel === null) return null;
  const known = [...metric.frames].sort((first, second) => first.depth - second.depth);
  if (depth === null || known.length === 0) return metric.mmPerPixel;
  let above = known.findIndex((frame) => frame.depth >= depth);
  if (above < 0) above = known.length - 1;
  const below = Math.max(0, above - 1);
  const span = known[above].depth - known[below].depth;
  const at = span > 0 ? Math.max(0, Math.min(1, (depth - known[below].depth) / span)) : 1;
  return metric.mmPerPixel * ((1 - at) / known[below].scale + at / known[above].scale);
}

export interface Distance {
  px: number;
  /** Across the picture at the depths of the points; null without mm per pixel. */
  acrossMm: number | null;
  /** Difference of depth in its unit; null where a depth is unknown. */
  depth: number | null;
  /** In three dimensions; null when a part of it is unknown or not in mm. */
  spaceMm: number | null;
}

/** The distance of two points of the picture. */
export function distanceOf(metric: Metric, from: Point3, to: Point3): Distance {
  const px = Math.hypot(to.x - from.x, to.y - from.y);
  const depth = from.depth === null || to.depth === null ? null : to.depth - from.depth;
  const inMm = metric.unit === 'mm';
  const [first, second] = [from, to].map((point) => {
    const side = mmPerPixelAt(metric, inMm ? point.depth : null);
    if (side === null) return null;
    return [(point.x - metric.centre[0]) * side, (point.y - metric.centre[1]) * side];
  });
  if (!first || !second) return { px, acrossMm: null, depth, spaceMm: null };
  const acrossMm = Math.hypot(second[0] - first[0], second[1] - first[1]);
  const spaceMm = inMm && depth !== null ? Math.hypot(acrossMm, depth) : null;
  return { px, acrossMm, depth, spaceMm };
}

/** A round length (1, 2 or 5 times a power of ten) of `maxLength` at most. */
export function roundLength(maxLength: number): number {
  const power = 10 ** Math.floor(Math.log10(maxLength));
  return (
    [5, 2, 1].map((factor) => factor * power).find((length) => length <= maxLength * (1 + 1e-9)) ?? power
  );
}

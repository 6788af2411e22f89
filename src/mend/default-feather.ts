import type { MendRegion } from './mend-region.js';

/** Narrower than this, a blend has no coarser band to hide a difference of light in (see `levelsFor`). */
export const minDefaultFeatherPx = 12;
/** Wider ones would carry the frame's blur far beyond any region. */
export const maxDefaultFeatherPx = 160;

/**
 * The feather of a mend for which none is named: a quarter of the region's mean width, 12 to 160 px. The mean width is
 * 4 x area / perimeter: the side of a square, the diameter of a circle, twice the width of a long strip. So an antenna
 * is not blended over more of its surroundings than it is wide, however it lies in the picture.
 *
 * @returns Whole composite pixels.
 */
export function defaultFeatherPx(region: MendRegion): number {
  const { area, perimeter } = outlineMeasures(region);
  const meanWidth = perimeter > 0 ? (4 * area) / perimeter : 0;
  return Math.min(maxDefaultFeatherPx, Math.max(minDefaultFeatherPx, Math.round(meanWidth / 4)));
}

function outlineMeasures(region: MendRegion): { area: number; perimeter: number } {
  if (region.kind === 'rectangle') {
    const { width, height } = region;
    return { area: width * height, perimeter: 2 * (width + height) };
  }
  let doubleArea = 0;
  let perimeter = 0;
  const { points } = region;
  for (let i = 0, j = points.length - 1; i < points.length; j = i++) {
    const [x0, y0] = points[j];
    const [x1, y1] = points[i];
    doubleArea += x0 * y1 - x1 * y0;
    perimeter += Math.hypot(x1 - x0, y1 - y0);
  }
  return { area: Math.abs(doubleArea) / 2, perimeter };
}

import type { MendRegion } from './mend-region.js';

/** A seam of a pixel or less is seen as one. */
export const minDefaultFeatherPx = 2;
/** Wider ones would carry the frame's blur far beyond any region. */
export const maxDefaultFeatherPx = 160;

/**
 * The feather of a mend for which none is named: a quarter of the region's mean width, 2 to 160 px. The mean width is
 * 4 x area / perimeter: the side of a square, the diameter of a circle, twice the width of a long strip or stroke. So a
 * hair is not blended over more of its surroundings than it is wide, however it lies in the picture.
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
  if (region.kind === 'stroke') {
    // Where it crosses itself it counts twice: its width is the same there.
    const { points, widthPx } = region;
    const length = points.reduce((sum, [x, y], i) => {
      const [beforeX, beforeY] = points[Math.max(0, i - 1)];
      return sum + Math.hypot(x - beforeX, y - beforeY);
    }, 0);
    const area = length * widthPx + (Math.PI * widthPx ** 2) / 4;
    return { area, perimeter: 2 * length + Math.PI * widthPx };
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

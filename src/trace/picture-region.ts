import type { Size } from '../image/image.js';
import { optionError } from '../option-error.js';

/** A rectangle of composite pixels: `x`, `y` is its upper left one. */
export interface PictureRegion extends Size {
  x: number;
  y: number;
}

/**
 * Reads `X,Y` (one pixel) or `X,Y,W,H` in whole composite pixels.
 *
 * @throws UsageError when the text is no such region. Whether it fits a picture is checked by `checkPictureRegion`.
 */
export function parsePictureRegion(text: string): PictureRegion {
  const numbers = /^\s*\d+(\s*,\s*\d+)+\s*$/.test(text) ? text.split(',').map(Number) : [];
  const [x, y, width = 1, height = 1] = numbers;
  if ((numbers.length !== 2 && numbers.length !== 4) || width < 1 || height < 1) {
    throw optionError('region', 'X,Y or X,Y,W,H in whole pixels', text);
  }
  return { x, y, width, height };
}

/**
 * Makes sure that a region holds whole pixels of a picture of `size`, one at least.
 *
 * @throws UsageError otherwise.
 */
export function checkPictureRegion(region: PictureRegion, size: Size): void {
  // Programs without types may leave it out.
  const { x, y, width, height } = region ?? { x: Number.NaN, y: Number.NaN, width: 0, height: 0 };
  const isWhole = [x, y, width, height].every(Number.isSafeInteger) && width >= 1 && height >= 1;
  if (!isWhole || x < 0 || y < 0 || x + width > size.width || y + height > size.height) {
    throw optionError(
      'region',
      `whole pixels inside the picture of ${size.width} x ${size.height} pixels`,
      region,
      {
        shown: region ? [x, y, width, height].join(',') : String(region),
        why: `x runs from 0 to ${size.width - 1}, y from 0 to ${size.height - 1}`,
      },
    );
  }
}

/** The part of a rectangle that lies inside a picture; undefined when there is none. */
export function clipRegion(region: PictureRegion, size: Size): PictureRegion | undefined {
  const x = Math.max(0, region.x);
  const y = Math.max(0, region.y);
  const width = Math.min(size.width, region.x + region.width) - x;
  const height = Math.min(size.height, region.y + region.height) - y;
  return width > 0 && height > 0 ? { x, y, width, height } : undefined;
}

/** A rectangle grown by `margin` pixels on each side. */
export function growRegion(region: PictureRegion, margin: number): PictureRegion {
  return {
    x: region.x - margin,
    y: region.y - margin,
    width: region.width + 2 * margin,
    height: region.height + 2 * margin,
  };
}

/** Whether a rectangle lies within another. */
export function holdsRegion(outer: PictureRegion, inner: PictureRegion): boolean {
  return (
    inner.x >= outer.x &&
    inner.y >= outer.y &&
    inner.x + inner.width <= outer.x + outer.width &&
    inner.y + inner.height <= outer.y + outer.height
  );
}

export function regionText({ x, y, width, height }: PictureRegion): string {
  return width === 1 && height === 1 ? `pixel ${x},${y}` : `${width} x ${height} pixels at ${x},${y}`;
}

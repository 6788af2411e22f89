import type { Size } from '../image/image.js';
import { optionError } from '../option-error.js';
import type { PictureRegion } from '../trace/picture-region.js';

/** What a mend covers, in composite pixels: pixel centres lie at whole numbers, 0 at the upper left. */
export type MendRegion =
  | ({ kind: 'rectangle' } & PictureRegion)
  /** Corners in order; a pixel belongs when its centre lies inside by the even-odd rule. */
  | { kind: 'polygon'; points: [number, number][] };

/** Corners that an outline may have. */
export const maxCorners = 20_000;

/**
 * Reads `x,y,w,h`, or the corners of a polygon `x,y x,y x,y ...` (three or more; blanks, commas and semicolons part
 * numbers alike).
 *
 * @throws UsageError when the text is no region.
 */
export function parseMendRegion(text: string): MendRegion {
  const pieces = text.split(/[\s,;]+/).filter((piece) => piece !== '');
  const numbers = pieces.map(Number);
  const isNumbers = pieces.every((piece) => /^-?(\d+\.?\d*|\.\d+)$/.test(piece));
  // Two corners apart by a blank are no rectangle: whoever writes them means something else.
  if (isNumbers && numbers.length === 4 && !/\d[\s;]+[-\d]/.test(text)) {
    const [x, y, width, height] = numbers;
    if (numbers.every(Number.isInteger) && width >= 1 && height >= 1) {
      return { kind: 'rectangle', x, y, width, height };
    }
  } else if (isNumbers && numbers.length >= 6 && numbers.length % 2 === 0) {
    const points = Array.from({ length: numbers.length / 2 }, (_, i): [number, number] => [
      numbers[2 * i],
      numbers[2 * i + 1],
    ]);
    return { kind: 'polygon', points };
  }
  throw optionError('region', 'x,y,w,h in whole pixels, or three or more corners "x,y x,y x,y",', text);
}

/** Why a region does not suit a picture, as the end of a sentence; undefined when it does. */
export function regionFault(region: MendRegion, { width, height }: Size): string | undefined {
  const leaves = `leaves the picture of ${width} x ${height} pixels`;
  if (region.kind === 'rectangle') {
    const inside =
      region.x >= 0 &&
      region.y >= 0 &&
      region.x + region.width <= width &&
      region.y + region.height <= height;
    return inside ? undefined : `the region ${describeRegion(region)} ${leaves}`;
  }
  if (region.points.length < 3) return 'an outline needs three corners or more';
  if (region.points.length > maxCorners) return `an outline may have ${maxCorners} corners at most`;
  const outside = region.points.find(
    ([x, y]) => !(x >= -0.5 && y >= -0.5 && x <= width - 0.5 && y <= height - 0.5),
  );
  if (outside) return `the corner ${outside.join(',')} of the outline ${leaves}`;
  const bounds = regionBounds(region, { width, height });
  const mask = bounds && regionMask(region, bounds);
  return mask?.includes(1) ? undefined : 'the outline holds no pixel';
}

/** The smallest rectangle of pixels around a region, inside the picture; undefined when it is empty. */
export function regionBounds(region: MendRegion, size: Size): PictureRegion | undefined {
  if (region.kind === 'rectangle') {
    const { x, y, width, height } = region;
    return { x, y, width, height };
  }
  const xs = region.points.map(([x]) => x);
  const ys = region.points.map(([, y]) => y);
  const left = Math.max(0, Math.ceil(minOf(xs)));
  const top = Math.max(0, Math.ceil(minOf(ys)));
  const right = Math.min(size.width - 1, Math.floor(-minOf(xs.map((x) => -x))));
  const bottom = Math.min(size.height - 1, Math.floor(-minOf(ys.map((y) => -y))));
  if (right < left || bottom < top) return undefined;
  return { x: left, y: top, width: right - left + 1, height: bottom - top + 1 };
}

/** Not by spreading: an outline may have more corners than a call may have arguments. */
function minOf(values: readonly number[]): number {
  return values.reduce((first, second) => Math.min(first, second), Number.POSITIVE_INFINITY);
}

/** 1 where a pixel of `window` belongs to the region, else 0; shape (height, width) of the window. */
export function regionMask(region: MendRegion, window: PictureRegion): Uint8Array {
  const mask = new Uint8Array(window.width * window.height);
  if (region.kind === 'rectangle') {
    const from = Math.max(0, region.x - window.x);
    const to = Math.min(window.width, region.x + region.width - window.x);
    const last = Math.min(window.height, region.y + region.height - window.y);
    for (let y = Math.max(0, region.y - window.y); y < last; y++) {
      mask.fill(1, y * window.width + from, y * window.width + to);
    }
    return mask;
  }
  const { points } = region;
  for (let row = 0; row < window.height; row++) {
    const y = row + window.y;
    const crossings: number[] = [];
    for (let i = 0, j = points.length - 1; i < points.length; j = i++) {
      const [x1, y1] = points[j];
      const [x2, y2] = points[i];
      // Half open in y, so that a corner on the row counts once.
      if (y1 <= y === y2 <= y) continue;
      crossings.push(x1 + ((y - y1) / (y2 - y1)) * (x2 - x1));
    }
    crossings.sort((first, second) => first - second);
    for (let i = 0; i + 1 < crossings.length; i += 2) {
      const from = Math.max(0, Math.ceil(crossings[i] - window.x));
      const to = Math.min(window.width, Math.floor(crossings[i + 1] - window.x) + 1);
      if (to > from) mask.fill(1, row * window.width + from, row * window.width + to);
    }
  }
  return mask;
}

export function describeRegion(region: MendRegion): string {
  if (region.kind === 'rectangle') return `${region.x},${region.y},${region.width},${region.height}`;
  return `outline of ${region.points.length} corners`;
}

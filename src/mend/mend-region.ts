import type { Size } from '../image/image.js';
import { optionError } from '../option-error.js';
import type { PictureRegion } from '../trace/picture-region.js';

/** A rectangle or an outline, in composite pixels: pixel centres lie at whole numbers, 0 at the upper left. */
export type AreaRegion =
  | ({ kind: 'rectangle' } & PictureRegion)
  /** Corners in order; a pixel belongs when its centre lies inside by the even-odd rule. */
  | { kind: 'polygon'; points: [number, number][] };

/** A line through points, drawn with a round brush: a pixel belongs when its centre lies within half the width of it. */
export interface StrokeRegion {
  kind: 'stroke';
  /** One or more; one alone is a dab. */
  points: [number, number][];
  widthPx: number;
}

/** What a mend covers. */
export type MendRegion = AreaRegion | StrokeRegion;

/** Corners that an outline may have, and points that a stroke may have. */
export const maxCorners = 20_000;
/** A brush narrower than this could pass between pixel centres. */
export const minStrokeWidthPx = 1.5;
export const maxStrokeWidthPx = 1000;

/**
 * Reads `x,y,w,h`, or the corners of a polygon `x,y x,y x,y ...` (three or more; blanks, commas and semicolons part
 * numbers alike).
 *
 * @throws UsageError when the text is no region.
 */
export function parseMendRegion(text: string): AreaRegion {
  const numbers = numbersIn(text);
  // Two corners apart by a blank are no rectangle: whoever writes them means something else.
  if (numbers?.length === 4 && !/\d[\s;]+[-\d]/.test(text)) {
    const [x, y, width, height] = numbers;
    if (numbers.every(Number.isInteger) && width >= 1 && height >= 1) {
      return { kind: 'rectangle', x, y, width, height };
    }
  } else if (numbers && numbers.length >= 6 && numbers.length % 2 === 0) {
    return { kind: 'polygon', points: inPairs(numbers) };
  }
  throw optionError('region', 'x,y,w,h in whole pixels, or three or more corners "x,y x,y x,y",', text);
}

/**
 * Reads the points of a stroke, `x,y x,y ...` (one or more).
 *
 * @throws UsageError when the text is no list of points.
 */
export function parseStroke(text: string, widthPx: number): StrokeRegion {
  const numbers = numbersIn(text);
  if (!numbers || numbers.length < 2 || numbers.length % 2 !== 0) {
    throw optionError('along', 'one or more points "x,y x,y"', text);
  }
  return { kind: 'stroke', points: inPairs(numbers), widthPx };
}

/** Numbers parted by blanks, commas and semicolons; undefined when there is anything else. */
function numbersIn(text: string): number[] | undefined {
  const pieces = text.split(/[\s,;]+/).filter((piece) => piece !== '');
  return pieces.every((piece) => /^-?(\d+\.?\d*|\.\d+)$/.test(piece)) ? pieces.map(Number) : undefined;
}

function inPairs(numbers: readonly number[]): [number, number][] {
  return Array.from({ length: numbers.length / 2 }, (_, i) => [numbers[2 * i], numbers[2 * i + 1]]);
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
  const isStroke = region.kind === 'stroke';
  const [whole, point] = isStroke ? ['stroke', 'point'] : ['outline', 'corner'];
  if (isStroke && region.points.length < 1) return 'a stroke needs a point';
  if (!isStroke && region.points.length < 3) return 'an outline needs three corners or more';
  if (region.points.length > maxCorners) {
    return `${isStroke ? 'a stroke' : 'an outline'} may have ${maxCorners} ${point}s at most`;
  }
  const outside = region.points.find(
    ([x, y]) => !(x >= -0.5 && y >= -0.5 && x <= width - 0.5 && y <= height - 0.5),
  );
  if (outside) return `the ${point} ${outside.join(',')} of the ${whole} ${leaves}`;
  const bounds = regionBounds(region, { width, height });
  const mask = bounds && regionMask(region, bounds);
  return mask?.includes(1) ? undefined : `the ${whole} holds no pixel`;
}

/** The smallest rectangle of pixels around a region, inside the picture; undefined when it is empty. */
export function regionBounds(region: MendRegion, size: Size): PictureRegion | undefined {
  if (region.kind === 'rectangle') {
    const { x, y, width, height } = region;
    return { x, y, width, height };
  }
  const xs = region.points.map(([x]) => x);
  const ys = region.points.map(([, y]) => y);
  const margin = region.kind === 'stroke' ? region.widthPx / 2 : 0;
  const left = Math.max(0, Math.ceil(minOf(xs) - margin));
  const top = Math.max(0, Math.ceil(minOf(ys) - margin));
  const right = Math.min(size.width - 1, Math.floor(margin - minOf(xs.map((x) => -x))));
  const bottom = Math.min(size.height - 1, Math.floor(margin - minOf(ys.map((y) => -y))));
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
  if (region.kind === 'stroke') {
    fillStroke(mask, region, window);
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

/** Sets the pixels of a stroke, segment by segment and row by row: a segment with round ends is convex. */
function fillStroke(mask: Uint8Array, { points, widthPx }: StrokeRegion, window: PictureRegion): void {
  const radius = widthPx / 2;
  points.forEach((from, i) => {
    const to = points[i + 1] ?? from;
    if (to === from && i > 0) return;
    const first = Math.max(window.y, Math.ceil(Math.min(from[1], to[1]) - radius));
    const last = Math.min(window.y + window.height - 1, Math.floor(Math.max(from[1], to[1]) + radius));
    for (let y = first; y <= last; y++) {
      const [left, right] = capsuleSpan(from, to, radius, y);
      const start = Math.max(0, Math.ceil(left - window.x));
      const end = Math.min(window.width, Math.floor(right - window.x) + 1);
      const row = (y - window.y) * window.width;
      if (end > start) mask.fill(1, row + start, row + end);
    }
  });
}

/** Where the row `y` runs within `radius` of a segment: the least and the greatest x. */
function capsuleSpan(
  [x0, y0]: [number, number],
  [x1, y1]: [number, number],
  radius: number,
  y: number,
): [left: number, right: number] {
  let left = Number.POSITIVE_INFINITY;
  let right = Number.NEGATIVE_INFINITY;
  const take = (x: number): void => {
    left = Math.min(left, x);
    right = Math.max(right, x);
  };
  for (const [x, centre] of [
    [x0, y0],
    [x1, y1],
  ]) {
    const half = radius ** 2 - (y - centre) ** 2;
    if (half < 0) continue;
    take(x - Math.sqrt(half));
    take(x + Math.sqrt(half));
  }
  const length = Math.hypot(x1 - x0, y1 - y0);
  // On level ground the sides lie along rows, which the round ends know too.
  if (y0 === y1 || length === 0) return [left, right];
  const [nx, ny] = [(-(y1 - y0) / length) * radius, ((x1 - x0) / length) * radius];
  for (const side of [1, -1]) {
    const at = (y - y0 - side * ny) / (y1 - y0);
    if (at >= 0 && at <= 1) take(x0 + side * nx + at * (x1 - x0));
  }
  return [left, right];
}

export function describeRegion(region: MendRegion): string {
  if (region.kind === 'rectangle') return `${region.x},${region.y},${region.width},${region.height}`;
  if (region.kind === 'stroke') {
    const { points, widthPx } = region;
    const [from, to] = [points[0], points[points.length - 1]].map((point) => point.join(','));
    return `stroke ${from === to ? `at ${from}` : `from ${from} to ${to}`}, ${widthPx} px wide`;
  }
  return `outline of ${region.points.length} corners`;
}

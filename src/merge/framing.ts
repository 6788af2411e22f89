import { marginOf } from '../image/frame-reach.js';
import type { Size } from '../image/image.js';
import { applyMatrix, type Matrix3 } from '../image/transform.js';
import type { CropRectangle } from '../result/run-record.js';

/** Sides below this leave no room for a pyramid. */
export const leastSidePx = 64;

/** Frames that have less of the picture in common are not cut to it: more would be lost than is gained. */
const leastCommonPart = 0.5;
/** A single frame that takes more than this from the picture is worth a word. */
const costlyPart = 0.05;

/** What the composite shows of the anchor's picture. */
export interface Framing {
  crop: CropRectangle;
  /** False when it is the anchor's whole picture. */
  isCut: boolean;
  /** Part of the anchor's picture that every frame reaches, 0 to 1. */
  commonPart: number;
  /** Index of the frame that takes most from that part, and how much, where that is a lot. */
  costly?: { index: number; part: number };
}

/** Pixels of the anchor's picture, first and last. */
interface Bounds {
  left: number;
  top: number;
  right: number;
  bottom: number;
}

/**
 * Where the composite lies in the anchor's picture: all of it, or the largest part of it that every frame reaches,
 * unless that is less than half of it.
 */
export function frameComposite(crop: 'common' | 'anchor', size: Size, toAnchor: readonly Matrix3[]): Framing {
  const whole: Bounds = { left: 0, top: 0, right: size.width - 1, bottom: size.height - 1 };
  const frames = toAnchor.map((m) => boundsOf(m, size));
  // What the frames before each have in common, and those after it.
  const before = [whole];
  for (const bounds of frames) before.push(intersect(before[before.length - 1], bounds));
  const after = [whole];
  for (const bounds of frames.toReversed()) after.unshift(intersect(after[0], bounds));
  const common = after[0];
  const part = (bounds: Bounds) => areaOf(bounds) / (size.width * size.height);
  const commonPart = part(common);
  const costs = frames.map((_, k) => part(intersect(before[k], after[k + 1])) - commonPart);
  const most = costs.indexOf(Math.max(...costs));
  const { x, y, width, height } = rectangleOf(common);
  const isCut = crop === 'common' && commonPart >= leastCommonPart && Math.min(width, height) >= leastSidePx;
  return {
    crop: isCut ? { x, y, width, height } : { x: 0, y: 0, ...size },
    isCut,
    commonPart,
    ...(costs[most] > costlyPart && { costly: { index: most, part: costs[most] } }),
  };
}

/** The part of the anchor's picture that a frame reaches for certain. */
function boundsOf(m: Matrix3, size: Size): Bounds {
  // The four corners of a frame turned a little: the innermost of each pair bounds a rectangle inside it.
  const margin = marginOf(m);
  const [lastX, lastY] = [size.width - 1 - margin, size.height - 1 - margin];
  const [ax, ay] = applyMatrix(m, margin, margin);
  const [bx, by] = applyMatrix(m, lastX, margin);
  const [cx, cy] = applyMatrix(m, margin, lastY);
  const [dx, dy] = applyMatrix(m, lastX, lastY);
  return {
    left: Math.ceil(Math.max(ax, cx)),
    top: Math.ceil(Math.max(ay, by)),
    right: Math.floor(Math.min(bx, dx)),
    bottom: Math.floor(Math.min(cy, dy)),
  };
}

function intersect(first: Bounds, second: Bounds): Bounds {
  return {
    left: Math.max(first.left, second.left),
    top: Math.max(first.top, second.top),
    right: Math.min(first.right, second.right),
    bottom: Math.min(first.bottom, second.bottom),
  };
}

function rectangleOf({ left, top, right, bottom }: Bounds): CropRectangle {
  return {
    x: left,
    y: top,
    width: Math.max(0, right - left + 1),
    height: Math.max(0, bottom - top + 1),
  };
}

function areaOf(bounds: Bounds): number {
  const { width, height } = rectangleOf(bounds);
  return width * height;
}

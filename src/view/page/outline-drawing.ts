import type { PageMend, PageSize } from '../protocol.js';
import { type Camera, toScreen } from './camera.js';
import { ring, strokeTwice } from './line-tools.js';
import { type Corner, clampOutline, simplifyOutline } from './outline.js';

/** Screen pixels by which a drawn line may be straightened. */
const straighten = 0.7;
/** Screen pixels about the first corner within which a click closes the outline. */
const closeRadius = 9;
/** Screen pixels from the last corner within which a click sets none: the second click of a double-click. */
const sameRadius = 2;

/** An outline on its way: drawn freehand in one go, or corner by corner. */
export class OutlineDrawing {
  corners: Corner[] = [];
  isClosed = false;
  isFreehand = false;
  /** Screen pixels per composite pixel, as drawn last. */
  private scale = 1;

  clear(): void {
    this.corners = [];
    this.isClosed = false;
    this.isFreehand = false;
  }

  /** Sets a corner by click or key. False when it meant to close the outline. */
  add(corner: Corner): boolean {
    const away = (other: Corner | undefined): number =>
      other ? Math.hypot(corner[0] - other[0], corner[1] - other[1]) * this.scale : Number.POSITIVE_INFINITY;
    if (this.corners.length >= 3 && away(this.corners[0]) < closeRadius) return false;
    if (away(this.corners.at(-1)) >= sameRadius) this.corners.push(corner);
    return true;
  }

  /** Closes the outline, made simple; one that holds next to nothing is dropped. True when it stands. */
  close({ width, height }: PageSize): boolean {
    const corners = clampOutline(simplifyOutline(this.corners, straighten / this.scale), width, height);
    const xs = corners.map(([x]) => x);
    const ys = corners.map(([, y]) => y);
    const isTooSmall =
      corners.length < 3 || Math.max(...xs) - Math.min(...xs) < 2 || Math.max(...ys) - Math.min(...ys) < 2;
    this.clear();
    if (isTooSmall) return false;
    this.corners = corners;
    this.isClosed = true;
    return true;
  }

  draw(context: CanvasRenderingContext2D, camera: Camera): void {
    this.scale = camera.scale;
    if (this.corners.length === 0) return;
    traceRegion(context, camera, this.corners, '#ffc857', this.isClosed);
    if (this.isFreehand || this.isClosed) return;
    for (const [x, y] of this.corners) {
      strokeTwice(context, () => ring(context, ...toScreen(camera, x, y), 4), '#ffc857');
    }
  }
}

/** The outline of a region, over the picture. */
export function traceRegion(
  context: CanvasRenderingContext2D,
  camera: Camera,
  corners: readonly Corner[],
  colour: string,
  isClosed: boolean,
): void {
  strokeTwice(
    context,
    () => {
      corners.forEach(([x, y], i) => {
        const [sx, sy] = toScreen(camera, x, y);
        if (i === 0) context.moveTo(sx, sy);
        else context.lineTo(sx, sy);
      });
      if (isClosed) context.closePath();
    },
    colour,
  );
}

export function cornersOf(region: PageMend['region']): Corner[] {
  if (region.kind !== 'rectangle') return region.points;
  const { x, y, width, height } = region;
  const [left, top, right, bottom] = [x - 0.5, y - 0.5, x + width - 0.5, y + height - 0.5];
  return [
    [left, top],
    [right, top],
    [right, bottom],
    [left, bottom],
  ];
}

import type { PageMend, PageRegion, PageSize } from '../protocol.js';
import { traceStrokes } from './brush.js';
import { type Camera, toScreen } from './camera.js';
import { ring, strokeTwice } from './line-tools.js';
import { type Corner, clampOutline, simplifyOutline } from './outline.js';

/** Screen pixels by which a drawn line may be straightened. */
const straighten = 0.7;
/** Screen pixels about the first corner within which a click closes the outline. */
const closeRadius = 9;
/** Screen pixels from the last corner within which a click sets none: the second click of a double-click. */
const sameRadius = 2;

export type DrawnKind = 'outline' | 'brush';

/** A region on its way: an outline or a stroke of the brush, drawn freehand in one go, or point by point. */
export class OutlineDrawing {
  corners: Corner[] = [];
  kind: DrawnKind = 'outline';
  /** Of the brush, composite pixels. */
  widthPx = 0;
  /** What the drawing became. */
  region: PageRegion | undefined;
  isFreehand = false;
  /** Screen pixels per composite pixel, as drawn last. */
  private scale = 1;

  clear(): void {
    this.corners = [];
    this.region = undefined;
    this.isFreehand = false;
  }

  /** Sets a corner by click or key. False when it meant to close the outline. */
  add(corner: Corner): boolean {
    const away = (other: Corner | undefined): number =>
      other ? Math.hypot(corner[0] - other[0], corner[1] - other[1]) * this.scale : Number.POSITIVE_INFINITY;
    const isOutline = this.kind === 'outline';
    if (isOutline && this.corners.length >= 3 && away(this.corners[0]) < closeRadius) return false;
    if (away(this.corners.at(-1)) >= sameRadius) this.corners.push(corner);
    return true;
  }

  /** Whether there are corners enough to close it. */
  get canClose(): boolean {
    return this.region === undefined && this.corners.length >= (this.kind === 'brush' ? 1 : 3);
  }

  /** Makes a region of the drawing, made simple; one that holds next to nothing is dropped. True when it stands. */
  close({ width, height }: PageSize): boolean {
    const corners = clampOutline(simplifyOutline(this.corners, straighten / this.scale), width, height);
    const { kind, widthPx } = this;
    this.clear();
    if (kind === 'brush') {
      if (corners.length > 0) this.region = { kind: 'stroke', points: corners, widthPx };
      return corners.length > 0;
    }
    const xs = corners.map(([x]) => x);
    const ys = corners.map(([, y]) => y);
    const isTooSmall =
      corners.length < 3 || Math.max(...xs) - Math.min(...xs) < 2 || Math.max(...ys) - Math.min(...ys) < 2;
    if (isTooSmall) return false;
    this.region = { kind: 'polygon', points: corners };
    return true;
  }

  draw(context: CanvasRenderingContext2D, camera: Camera): void {
    this.scale = camera.scale;
    if (this.region) {
      traceRegions(context, camera, [this.region], '#ffc857');
      return;
    }
    if (this.corners.length === 0) return;
    if (this.kind === 'brush') {
      traceStrokes(context, camera, [{ points: this.corners, widthPx: this.widthPx }], '#ffc857');
    } else {
      traceLine(context, camera, this.corners, '#ffc857', false);
    }
    if (this.isFreehand) return;
    for (const [x, y] of this.corners) {
      strokeTwice(context, () => ring(context, ...toScreen(camera, x, y), 4), '#ffc857');
    }
  }
}

/** Regions over the picture, by their edges. */
export function traceRegions(
  context: CanvasRenderingContext2D,
  camera: Camera,
  regions: readonly PageRegion[],
  colour: string,
): void {
  traceStrokes(
    context,
    camera,
    regions.filter((region) => region.kind === 'stroke'),
    colour,
  );
  for (const region of regions) {
    if (region.kind !== 'stroke') traceLine(context, camera, cornersOf(region), colour, true);
  }
}

function traceLine(
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

/** The corners of an outline, or the points of a stroke. */
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

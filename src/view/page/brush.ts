import { type Camera, toScreen } from './camera.js';
import type { Corner } from './outline.js';

/** A line with the width of the brush, composite pixels. */
export interface Stroke {
  points: readonly Corner[];
  widthPx: number;
}

/** Width of a brush as it is taken up, screen pixels: of a hair that fills the eye. */
const usualWidth = 16;
/** As in mends.json. */
export const minBrushPx = 1.5;
export const maxBrushPx = 1000;
/** By which a key widens it. */
const brushStep = 1.25;

/** The width with which a brush is taken up at a scale. */
export function usualBrushPx({ scale }: Camera): number {
  return clampBrushPx(usualWidth / scale);
}

/** A width that a stroke may have: whole pixels, or halves of narrow ones. */
export function clampBrushPx(widthPx: number): number {
  const grain = widthPx < 10 ? 2 : 1;
  return Math.max(minBrushPx, Math.min(maxBrushPx, Math.round(widthPx * grain) / grain));
}

/** The next wider brush, or, for -1, the next narrower one. */
export function nextBrushPx(widthPx: number, direction: 1 | -1): number {
  const next = clampBrushPx(widthPx * brushStep ** direction);
  return next === widthPx ? clampBrushPx(widthPx + direction * 0.5) : next;
}

let layer: OffscreenCanvas | undefined;

/** The edges of strokes, those that touch as one: what lies within stays to be seen. */
export function traceStrokes(
  context: CanvasRenderingContext2D,
  camera: Camera,
  strokes: readonly Stroke[],
  colour: string,
): void {
  if (strokes.length === 0) return;
  const { width, height } = context.canvas;
  layer ??= new OffscreenCanvas(width, height);
  // Also empties it.
  layer.width = width;
  layer.height = height;
  const edges = layer.getContext('2d');
  if (!edges) return;
  const ratio = devicePixelRatio;
  edges.setTransform(ratio, 0, 0, ratio, 0, 0);
  edges.lineCap = 'round';
  edges.lineJoin = 'round';
  for (const [wider, style, how] of [
    [4, 'rgb(0 0 0 / .75)', 'source-over'],
    [3, colour, 'source-over'],
    [0, '#000', 'destination-out'],
  ] as const) {
    edges.globalCompositeOperation = how;
    edges.strokeStyle = style;
    for (const { points, widthPx } of strokes) {
      edges.lineWidth = widthPx * camera.scale + wider;
      edges.beginPath();
      points.forEach(([x, y], i) => {
        const [sx, sy] = toScreen(camera, x, y);
        if (i === 0) edges.moveTo(sx, sy);
        // A line of no length is drawn as its ends: a dab.
        if (i > 0 || points.length === 1) edges.lineTo(sx, sy);
      });
      edges.stroke();
    }
  }
  context.save();
  context.setTransform(1, 0, 0, 1, 0, 0);
  context.drawImage(layer, 0, 0);
  context.restore();
}

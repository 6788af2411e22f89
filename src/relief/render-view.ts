import { type Parallax, parallaxAt } from './parallax.js';
import { linkRight, type SurfaceRaster } from './surface-raster.js';

/** A pixel of a view whose surface the composite hides. */
export interface HiddenPixel {
  /** Index in the view. */
  at: number;
  /** Index in the view of the nearest pixel of the surface behind. */
  beside: number;
  /** Where the composite would show it, if nothing were before it: column, fractional, and row. */
  x: number;
  y: number;
  /** Of the surface behind. */
  depth: number;
}

/** The composite as seen from beside. */
export interface SideView {
  /** (rows, cols, 3). */
  pixels: Uint8Array;
  /** (rows, cols); NaN: outside of what the composite shows. */
  depth: Float32Array;
  hidden: HiddenPixel[];
}

/**
 * Draws a surface as seen from the left (`side` -1/2) to the right (1/2), row by row: each cell covers what lies between
 * its sides there, the nearest counts, and its colour is resampled once. Pixels that are hidden in the composite are filled with
 * a reflection of what lies beside them on the surface behind, and listed.
 *
 * @param raster Without gaps: every cell has a depth.
 * @param colours (rows, cols, 3).
 */
export function renderView(
  raster: SurfaceRaster,
  colours: Uint8Array,
  parallax: Parallax,
  side: number,
): SideView {
  const { width, height, depth: surface } = raster;
  const pixels = new Uint8Array(3 * width * height);
  const depth = new Float32Array(width * height).fill(Number.NaN);
  const hidden: HiddenPixel[] = [];
  const source = new Float32Array(width);
  for (let y = 0; y < height; y++) {
    const row = y * width;
    placeRow(raster, parallax, side, y, depth, source);
    for (let x = 0; x < width; x++) {
      if (!Number.isNaN(depth[row + x])) sampleRow(raster, colours, y, source[x], pixels, 3 * (row + x));
    }
    for (let x = 0; x < width; ) {
      if (!Number.isNaN(depth[row + x])) {
        x++;
        continue;
      }
      let end = x;
      while (end < width && Number.isNaN(depth[row + end])) end++;
      // Beyond the first and the last pixel nothing is hidden: there the picture ends.
      if (x > 0 && end < width) {
        const isLeftBehind = depth[row + x - 1] >= depth[row + end];
        const beside = isLeftBehind ? x - 1 : end;
        for (let at = x; at < end; at++) {
          const reflected = Math.max(0, Math.min(width - 1, 2 * beside - at));
          const isSame =
            Math.abs(depth[row + reflected] - depth[row + beside]) <
            Math.abs(depth[row + x - 1] - depth[row + end]) / 2;
          const from = 3 * (row + (isSame ? reflected : beside));
          pixels.set(pixels.subarray(from, from + 3), 3 * (row + at));
          const behind = depth[row + beside];
          hidden.push({
            at: row + at,
            beside: row + beside,
            x: at - side * parallaxAt(parallax, behind),
            y,
            depth: behind,
          });
        }
        for (let at = x; at < end; at++) depth[row + at] = depth[row + beside];
      }
      x = end;
    }
  }
  return { pixels, depth, hidden };

  /** Which cell, and where in it, each pixel of a row sees. */
  function placeRow(
    { links }: SurfaceRaster,
    seen: Parallax,
    eye: number,
    y: number,
    depths: Float32Array,
    columns: Float32Array,
  ): void {
    const row = y * width;
    for (let x = 0; x < width; x++) {
      const own = surface[row + x];
      const isLinkedLeft = x > 0 && (links[row + x - 1] & linkRight) !== 0;
      const isLinkedRight = (links[row + x] & linkRight) !== 0;
      const leftDepth = isLinkedLeft ? (surface[row + x - 1] + own) / 2 : own;
      const rightDepth = isLinkedRight ? (surface[row + x + 1] + own) / 2 : own;
      const from = x - 0.5 + eye * parallaxAt(seen, leftDepth);
      const to = x + 0.5 + eye * parallaxAt(seen, rightDepth);
      const last = Math.min(width - 1, Math.ceil(to) - 1);
      for (let at = Math.max(0, Math.ceil(from)); at <= last; at++) {
        if (depths[row + at] <= own) continue;
        depths[row + at] = own;
        columns[at] = x - 0.5 + (at - from) / (to - from);
      }
    }
  }
}

/** The colour at a fractional column: cubic (Keys 1981, a = -1/2) within one surface, at its rims linear. */
function sampleRow(
  { width, links }: SurfaceRaster,
  colours: Uint8Array,
  y: number,
  column: number,
  into: Uint8Array,
  at: number,
): void {
  const row = y * width;
  const left = Math.max(0, Math.min(width - 1, Math.floor(column)));
  const t = Math.max(0, Math.min(1, column - left));
  const goesOn = (x: number) => x >= 0 && x < width - 1 && (links[row + x] & linkRight) !== 0;
  if (!goesOn(left)) {
    const nearest = 3 * (row + Math.min(width - 1, Math.round(column)));
    into.set(colours.subarray(nearest, nearest + 3), at);
    return;
  }
  const isInside = goesOn(left - 1) && goesOn(left + 1);
  for (let k = 0; k < 3; k++) {
    const value = (x: number) => colours[3 * (row + x) + k];
    const [b, c] = [value(left), value(left + 1)];
    let sum = b + t * (c - b);
    if (isInside) {
      const [a, d] = [value(left - 1), value(left + 2)];
      sum = b + (t / 2) * (c - a + t * (2 * a - 5 * b + 4 * c - d + t * (3 * (b - c) + d - a)));
    }
    into[at + k] = Math.max(0, Math.min(255, Math.round(sum)));
  }
}

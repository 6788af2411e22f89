import { InputError } from '../errors.js';
import type { Size } from '../image/image.js';
import type { RunRecord } from '../result/run-record.js';
import { findStackFrames } from '../trace/stack-frames.js';
import { storedColours } from './composite-colours.js';
import { fillHidden } from './fill-hidden.js';
import { type Parallax, parallaxOf } from './parallax.js';
import { cellGrid, readSurface } from './read-surface.js';
import { renderView } from './render-view.js';
import { withResultRasters } from './result-rasters.js';
import { resultScale } from './scale.js';
import type { ScaleOptions } from './scale-options.js';

/** Views of a result from beside. */
export interface SideViews extends Size {
  /** (rows, cols, 3), one for each side that was asked for. */
  views: Uint8Array[];
  icc: Buffer | undefined;
  parallax: Parallax;
  /** Pixels of the composite a side of a pixel of the views. */
  cellPx: number;
  /** Columns that were cut off either side, where a view shows what lies outside of the composite. */
  cutPx: number;
  /** Share of the pixels that the composite hides, 0 to 100, and of those the share that a frame saw. */
  hiddenPercent: number;
  seenPercent: number;
  notes: string[];
}

export interface SideViewOptions extends Partial<ScaleOptions> {
  /** Largest parallax, percent of the width. */
  comfortPercent: number;
  framesFrom?: string | undefined;
}

/**
 * The composite as seen from several sides, what it hides filled from the photographs where they saw it. Without the
 * photographs it is filled from beside, and a note says so.
 *
 * @param sides From -1/2, the left eye, to 1/2, the right one.
 * @param maxPixels Largest view.
 * @throws InputError when the result has no depth.
 */
export async function sideViews(
  folder: string,
  record: RunRecord,
  sides: readonly number[],
  maxPixels: number,
  options: SideViewOptions,
  signal?: AbortSignal,
): Promise<SideViews> {
  const { comfortPercent, framesFrom, ...scaleOptions } = options;
  const scale = resultScale(record, scaleOptions);
  const cellPx = Math.ceil(Math.sqrt((record.size.width * record.size.height) / maxPixels));
  const grid = cellGrid(record, cellPx);
  const { pixels: colours, icc } = await storedColours(folder, record, grid);
  const surface = await withResultRasters(folder, record, (rasters) =>
    readSurface(rasters, record, scale, cellPx, colours, 'flat', folder),
  );
  const parallax = parallaxOf(surface, scale, cellPx, comfortPercent / 100);
  const views = sides.map((side) => renderView(surface, colours, parallax, side));
  const hidden = views.reduce((sum, view) => sum + view.hidden.length, 0);
  const notes = [...scale.notes];
  let seen = 0;
  try {
    const frames = await findStackFrames(record, framesFrom);
    seen = await fillHidden(views, colours, grid, record, frames, signal);
  } catch (error) {
    if (!(error instanceof InputError) || framesFrom !== undefined) throw error;
    notes.push(`Hidden parts are filled from beside them: ${error.message}`);
  }
  const widest = parallax.perDepth * (parallax.far - parallax.near) * Math.max(...sides.map(Math.abs));
  const cutPx = Math.min(Math.ceil(widest), (grid.width - 1) >> 1);
  const width = grid.width - 2 * cutPx;
  return {
    width,
    height: grid.height,
    views: views.map(({ pixels }) => withoutSides(pixels, grid, cutPx)),
    icc,
    parallax,
    cellPx,
    cutPx,
    hiddenPercent: (100 * hidden) / (grid.width * grid.height * sides.length),
    seenPercent: hidden === 0 ? 100 : (100 * seen) / hidden,
    notes,
  };
}

function withoutSides(pixels: Uint8Array, { width, height }: Size, cut: number): Uint8Array {
  const out = new Uint8Array(3 * (width - 2 * cut) * height);
  for (let y = 0; y < height; y++) {
    const row = pixels.subarray(3 * (y * width + cut), 3 * ((y + 1) * width - cut));
    out.set(row, 3 * y * (width - 2 * cut));
  }
  return out;
}

import { InterruptedError } from '../errors.js';
import { feedFrames } from '../merge/frame-feed.js';
import type { MotionSolution } from '../register/motion-solution.js';
import { applyMatrix, invertMatrix } from '../register/transform.js';
import { type DecodedFrame, decodeFrame } from '../stack/decode.js';
import type { FrameFile } from '../stack/frame.js';
import { directionCount, encodedLuma, measureDetail } from './detail-grid.js';
import type { SensorSpot } from './finding.js';
import { focusCurves } from './focus-curves.js';
import { type FocusFit, fitFocus } from './focus-fit.js';
import { searchHotPixels } from './hot-pixels.js';
import { runsOf } from './runs.js';

/** What only full-size frames can tell, from a few of them. */
export interface SecondLook {
  hotPixels: SensorSpot[];
  /** Width of the focus curves of full-size detail, usual steps; undefined where the first look was at full size, or there is none. */
  fineWidth: number | undefined;
}

/** Frames in a row that are read in full, at both ends and in the middle. */
const burstFrames = 5;
/** Tiles whose full-size detail is followed through a burst, and those of the least detail that show the noise. */
const detailTiles = 90;
const noiseTiles = 20;
/** Side of such a tile, full-size pixels. */
const fineTilePx = 48;
/** Fewer fits than this give no width. */
const fewestFits = 12;

/**
 * Reads up to three bursts of frames in full: reduced frames lose the finest detail, whose depth of field is the smallest,
 * and hot pixels.
 *
 * @param shrink At what reduction the first look was; at 1 the fine detail has been seen there.
 */
export async function lookAgain(
  frames: readonly FrameFile[],
  motion: MotionSolution,
  fit: FocusFit,
  layout: { columns: number; tilePx: number },
  places: readonly number[],
  shrink: number,
  signal: AbortSignal | undefined,
): Promise<SecondLook> {
  const bursts = runsOf(frames.length, burstFrames);
  const chosen = [...new Set(bursts.flat())].filter((k) => motion.frames[k].usable);
  const hot = searchHotPixels();
  const tiles = shrink === 1 ? [] : bursts.map((burst) => tilesOf(burst, fit, layout));
  const energies = tiles.map((own) => new Map<number, Float32Array>(own.map((tile) => [tile, emptyCurve()])));
  for await (const fed of feedFrames(chosen, (k) => decodeFrame(frames[k]), 1)) {
    if (signal?.aborted) throw new InterruptedError();
    // Unreadable frames have been told already.
    if ('error' in fed) continue;
    const k = fed.item;
    const decoded = fed.value;
    const { matrix } = motion.frames[k];
    hot.add(decoded);
    bursts.forEach((burst, b) => {
      const at = burst.indexOf(k);
      if (at < 0 || tiles.length === 0) return;
      const toFrame = invertMatrix(matrix);
      for (const [tile, curve] of energies[b]) {
        const column = tile % layout.columns;
        const row = (tile - column) / layout.columns;
        const [x, y] = applyMatrix(
          toFrame,
          (column + 0.5) * layout.tilePx - 0.5,
          (row + 0.5) * layout.tilePx - 0.5,
        );
        const measured = measureAt(decoded, Math.round(x), Math.round(y));
        if (measured) curve.set(measured, at * directionCount);
      }
    });
  }
  return {
    hotPixels: hot.found(),
    fineWidth: tiles.length === 0 ? undefined : widthOf(energies, bursts, places),
  };
}

/** The tiles that are sharpest within a burst, and some that never are. */
function tilesOf(burst: readonly number[], fit: FocusFit, { columns }: { columns: number }): number[] {
  const inside = fit.tiles.flatMap((focus, tile) =>
    focus && burst.slice(1, -1).includes(focus.best) ? [{ tile, peak: focus.peak }] : [],
  );
  inside.sort((one, other) => other.peak - one.peak || one.tile - other.tile);
  const plain = fit.tiles.flatMap((focus, tile) => (focus ? [] : [tile]));
  const pitch = Math.max(1, Math.floor(plain.length / noiseTiles));
  // Border tiles may hold what some frames do not reach.
  const noise = plain.filter((tile, i) => i % pitch === 0 && tile % columns > 0);
  return [...inside.slice(0, detailTiles).map(({ tile }) => tile), ...noise];
}

function emptyCurve(): Float32Array {
  return new Float32Array(2 * burstFrames * directionCount).fill(Number.NaN);
}

/** Detail of one full-size tile by direction; undefined where it lies outside. */
function measureAt(decoded: DecodedFrame, x: number, y: number): Float32Array | undefined {
  const side = fineTilePx + 4;
  const left = x - side / 2;
  const top = y - side / 2;
  const { width, height, channels, pixels } = decoded;
  if (left < 0 || top < 0 || left + side > width || top + side > height) return undefined;
  const part =
    pixels instanceof Uint8Array
      ? new Uint8Array(side * side * channels)
      : new Uint16Array(side * side * channels);
  for (let row = 0; row < side; row++) {
    const start = ((top + row) * width + left) * channels;
    part.set(pixels.subarray(start, start + side * channels), row * side * channels);
  }
  const luma = encodedLuma({ ...decoded, pixels: part, width: side, height: side });
  return measureDetail(luma, side, side, side).energy;
}

/** Middle of the fitted widths over all bursts. */
function widthOf(
  energies: readonly Map<number, Float32Array>[],
  bursts: readonly number[][],
  places: readonly number[],
): number | undefined {
  const widths: number[] = [];
  energies.forEach((own, b) => {
    const frames = bursts[b].length;
    const energy = new Float32Array(own.size * frames * directionCount);
    [...own.values()].forEach((curve, i) => {
      energy.set(curve.subarray(0, frames * directionCount), i * frames * directionCount);
    });
    if (own.size === 0) return;
    const curves = focusCurves({ columns: own.size, rows: 1, tilePx: fineTilePx, frames, energy });
    const fit = fitFocus(
      curves,
      bursts[b].map((k) => places[k]),
    );
    for (const focus of fit.tiles) {
      if (focus && focus.best > 0 && focus.best < frames - 1 && focus.error < 0.5) widths.push(focus.width);
    }
  });
  if (widths.length < fewestFits) return undefined;
  widths.sort((p, q) => p - q);
  return widths[widths.length >> 1];
}

import { median, sigmaPerMad } from '../image/median.js';
import { pieceKernels } from '../kernels/piece-kernels.js';
import { curvePower, minSample, mixedTileSigma, sureOctaves } from '../model/constants/model.js';
import {
  falloffBinSteps,
  maxBeyondEnd,
  maxOffset,
  maxSamplesPerSide,
  maxWidthError,
  minSamplesPerSide,
  offsetStep,
  widthRatio,
} from '../model/constants/rail.js';
import { distanceOfFalloff, falloffAt } from '../model/optical-model.js';
import { detectionLevel, type FocusCurves, peakFrame, type TilePeak } from './focus-curves.js';

/** Where and how sharply one tile comes into focus. */
export interface TileFocus extends TilePeak {
  /** Position of best focus along the rail, usual steps. */
  position: number;
  /** Half width of its focus curve, usual steps. */
  width: number;
  /** Standard deviation of the samples around the fit. */
  error: number;
}

export interface FocusFit {
  /** One per tile, row by row; undefined for a tile whose curve has no peak. */
  tiles: (TileFocus | undefined)[];
  /** Median width of the curves. */
  width: number;
}

/** What the widths of the curves of a stack are: median and standard deviation of their logarithm. */
interface WidthPrior {
  middle: number;
  sigma: number;
}

/** Trial widths, usual steps. */
const trialWidths = Array.from({ length: 22 }, (_, i) => 0.2 * widthRatio ** i);
/** Offsets from -maxBeyondEnd to maxBeyondEnd in a falloff table. */
const offsetCount = (2 * maxBeyondEnd) / offsetStep + 1;

/**
 * Fits every tile's curve over the rail positions of the frames: first independently, then with their widths as
 * prior.
 *
 * @param settled Tiles that are not fitted, with what is known of them: undefined where they bear on no other. Those that
 *   peak inside show width and falloff to the others.
 */
export function fitFocus(
  curves: FocusCurves,
  positions: readonly number[],
  settled: ReadonlyMap<number, TileFocus | undefined> = new Map(),
): FocusFit {
  const tiles = curves.columns * curves.rows;
  const fitAnew = (chosen: readonly number[], prior: WidthPrior | undefined) => {
    const unsettled = chosen.filter((tile) => !settled.has(tile));
    const found = fitTiles(curves, unsettled, positions, prior);
    return (tile: number) => (settled.has(tile) ? settled.get(tile) : found.get(tile));
  };
  const numbers = Array.from({ length: tiles }, (_, tile) => tile);
  const first = numbers.map(fitAnew(numbers, undefined));
  const { frames } = curves;
  const inner = wellFitted(first, frames);
  if (inner.length === 0) return { tiles: first, width: Number.NaN };
  const widths = Float64Array.from(inner, (fit) => Math.log(fit.width));
  const middle = median(widths);
  // As the stack itself shows it, but no less than what trial widths resolve.
  const scatter = sigmaPerMad * median(widths.map((width) => Math.abs(width - middle)));
  const prior = { middle, sigma: Math.max(Math.log(widthRatio), scatter) };
  const again = fitAnew(
    numbers.filter((tile) => first[tile]),
    prior,
  );
  const second = first.map((fit, tile) => fit && again(tile));
  const falloff = measuredFalloff(curves, second, positions);
  const tiled = second.map((fit, tile) =>
    fit && falloff && !settled.has(tile) && (fit.best === 0 || fit.best === frames - 1)
      ? fitEnd(curves, tile, positions, fit, falloff)
      : fit,
  );
  return { tiles: tiled, width: Math.exp(middle) };
}

/**
 * How the curves of this stack fall off, ln energy by distance from the peak in bins of `falloffBinSteps`: medians over the tiles
 * that peak well inside. A curve that peaks beyond an end shows one flank only, and by that width and distance are told
 * apart where the falloff is known better than by a model. Undefined where too few curves show it.
 */
function measuredFalloff(
  curves: FocusCurves,
  tiles: readonly (TileFocus | undefined)[],
  positions: readonly number[],
): number[] | undefined {
  const { frames, level } = curves;
  const detection = detectionLevel(curves);
  const bins: number[][] = [];
  for (const [tile, fit] of tiles.entries()) {
    if (!isWellFitted(fit, frames)) continue;
    for (let k = 0; k < frames; k++) {
      const value = level[tile * frames + k];
      if (!(value > detection)) continue;
      const bin = Math.round(Math.abs(positions[k] - fit.position) / falloffBinSteps);
      while (bins.length <= bin) bins.push([]);
      bins[bin].push(value - fit.peak);
    }
  }
  const found: number[] = [];
  for (const values of bins) {
    if (values.length < minSample) break;
    found.push(Math.min(found.at(-1) ?? 0, median(Float64Array.from(values))));
  }
  return found.length > 1 ? found : undefined;
}

/**
 * A falloff between its bins. Beyond the last of them it goes on as the model does far from focus, as the distance to the
 * power -2 `curvePower`: in a stack of few frames that bin and the one before it are medians of a dozen samples each, and
 * their difference is no slope.
 */
function falloffBetween(falloff: readonly number[], distance: number): number {
  const at = Math.abs(distance) / falloffBinSteps;
  const last = falloff.length - 1;
  if (at >= last) return falloff[last] - 2 * curvePower * Math.log(at / last);
  const bin = Math.floor(at);
  return falloff[bin] + (at - bin) * (falloff[bin + 1] - falloff[bin]);
}

/** The fit of a curve that is highest at an end, by the falloff of the others. */
function fitEnd(
  curves: FocusCurves,
  tile: number,
  positions: readonly number[],
  fit: TileFocus,
  falloff: readonly number[],
): TileFocus {
  const { frames, level } = curves;
  const detection = detectionLevel(curves);
  const inward = fit.best === 0 ? 1 : -1;
  const side = samplesPerSide(fit.width);
  const used: number[] = [];
  for (let i = 0; i <= Math.min(side, frames - 1); i++) {
    const k = fit.best + inward * i;
    if (level[tile * frames + k] > detection) used.push(k);
  }
  if (used.length < 2) return fit;
  const outward = Math.sign(positions[fit.best] - positions[fit.best + inward]);
  let found = fit;
  let least = Number.POSITIVE_INFINITY;
  for (let off = -maxOffset; off <= maxBeyondEnd; off += offsetStep) {
    const position = positions[fit.best] + outward * off;
    const expected = used.map((k) => falloffBetween(falloff, positions[k] - position));
    const values = used.map((k, i) => level[tile * frames + k] - expected[i]);
    const peak = values.reduce((sum, value) => sum + value, 0) / values.length;
    const error = values.reduce((sum, value) => sum + Math.min((value - peak) ** 2, 1), 0);
    if (error >= least) continue;
    least = error;
    found = { ...fit, position, peak, error: Math.sqrt(error / used.length) };
  }
  return found;
}

/** Fits that determine a width: of curves that peak inside the run of frames and contain one depth. */
export function wellFitted(tiles: readonly (TileFocus | undefined)[], frames: number): TileFocus[] {
  return tiles.filter((fit) => isWellFitted(fit, frames));
}

function isWellFitted(fit: TileFocus | undefined, frames: number): fit is TileFocus {
  return fit !== undefined && fit.best > 0 && fit.best < frames - 1 && fit.error < maxWidthError;
}

/** Frames on each side of its best one that a curve is fitted to, where curves are this wide: there any other is in the noise. */
export function samplesPerSide(width: number): number {
  return Math.min(
    maxSamplesPerSide,
    Math.max(minSamplesPerSide, Math.ceil(distanceOfFalloff(sureOctaves * Math.LN2, width))),
  );
}

/** Fits tiles, those that peak in the same frame one after the other. */
function fitTiles(
  curves: FocusCurves,
  tiles: readonly number[],
  positions: readonly number[],
  prior: WidthPrior | undefined,
): Map<number, TileFocus | undefined> {
  const byFrame = new Map<number, number[]>();
  for (const tile of tiles) {
    const best = peakFrame(curves, tile);
    if (best === undefined) continue;
    const others = byFrame.get(best);
    if (others) others.push(tile);
    else byFrame.set(best, [tile]);
  }
  const railSign = positions[curves.frames - 1] >= positions[0] ? 1 : -1;
  const side = prior ? samplesPerSide(Math.exp(prior.middle)) : minSamplesPerSide;
  const found = new Map<number, TileFocus | undefined>();
  for (const [best, chosen] of byFrame) {
    const place = placeFit(falloffTable(best, positions, railSign, side), side, prior);
    for (const tile of chosen) found.set(tile, fitTile(curves, tile, best, positions, place));
  }
  return found;
}

type FitPlace = ReturnType<typeof placeFit>;

/** What the tiles that peak in a frame have in common, and room for one of them, in the memory of `pieceKernels`. */
function placeFit(falloff: Float64Array, side: number, prior: WidthPrior | undefined) {
  const kernels = pieceKernels();
  const samples = 2 * side + 1;
  const [table, penalties, values, places, out] = kernels.take(
    [Float64Array, falloff.length],
    [Float64Array, trialWidths.length],
    [Float64Array, samples],
    [Int32Array, samples],
    [Float64Array, 4],
  );
  table.set(falloff);
  for (const [w, width] of trialWidths.entries()) {
    penalties[w] = prior ? ((Math.log(width) - prior.middle) / prior.sigma) ** 2 : 0;
  }
  return { kernels, side, table, penalties, values, places, out };
}

function fitTile(
  curves: FocusCurves,
  tile: number,
  best: number,
  positions: readonly number[],
  { kernels, side, table, penalties, values, places, out }: FitPlace,
): TileFocus | undefined {
  const { frames, level, floor } = curves;
  const at = tile * frames;
  const first = Math.max(0, best - side);
  const last = Math.min(frames - 1, best + side);
  let count = 0;
  let [firstUsed, lastUsed] = [-1, -1];
  for (let k = first; k <= last; k++) {
    if (Number.isNaN(level[at + k])) continue;
    values[count] = level[at + k];
    places[count++] = side - best + k;
    if (firstUsed < 0) firstUsed = k;
    lastUsed = k;
  }
  if (count < 3) return undefined;
  const railSign = positions[frames - 1] >= positions[0] ? 1 : -1;
  const ends = [firstUsed, lastUsed].map((end) => (best === end ? maxBeyondEnd : maxOffset));
  const isFound = kernels.fitPeak({
    ...{ values, places, count, table, penalties, floor, out },
    widths: trialWidths.length,
    offsets: offsetCount,
    frames: 2 * side + 1,
    firstOffset: (maxBeyondEnd - ends[0]) / offsetStep,
    lastOffset: (maxBeyondEnd + ends[1]) / offsetStep,
    detection: detectionLevel(curves),
    perError: mixedTileSigma ** 2,
  });
  if (!isFound) return undefined;
  const [peak, error, w, offset] = out;
  const position = positions[best] + railSign * (offset * offsetStep - maxBeyondEnd);
  return { position, width: trialWidths[w], best, peak, error: Math.sqrt(error / count) };
}

/**
 * Falloff of all widths, for all offsets of the peak from frame `best`, at so many frames on each side of it: (widths, offsets,
 * frames). Many tiles share the table, and its logarithms are most of the work of a fit.
 */
function falloffTable(
  best: number,
  positions: readonly number[],
  railSign: number,
  side: number,
): Float64Array {
  const frames = 2 * side + 1;
  const table = new Float64Array(trialWidths.length * offsetCount * frames);
  const first = Math.max(0, best - side);
  const end = Math.min(positions.length, best + side + 1);
  let row = side - best;
  for (const width of trialWidths) {
    for (let i = 0; i < offsetCount; i++, row += frames) {
      const position = positions[best] + railSign * (i * offsetStep - maxBeyondEnd);
      for (let k = first; k < end; k++) table[row + k] = falloffAt(positions[k] - position, width);
    }
  }
  return table;
}

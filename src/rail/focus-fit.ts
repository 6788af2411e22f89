import { median } from '../image/median.js';
import { curvePower, minSample, mixedTileSigma } from '../model/constants/model.js';
import {
  falloffBinSteps,
  logWidthSigma,
  maxBeyondEnd,
  maxOffset,
  maxSamplesPerSide,
  maxWidthError,
  minEndRise,
  minFalloffSteps,
  minSamplesPerSide,
  offsetStep,
  widthsPerSide,
} from '../model/constants/rail.js';
import { falloffAt } from '../model/optical-model.js';
import { detectionLevel, type FocusCurves, peakFrame } from './focus-curves.js';

/** Where and how sharply one tile comes into focus. */
export interface TileFocus {
  /** Position of best focus along the rail, usual steps. */
  position: number;
  /** Half width of its focus curve, usual steps. */
  width: number;
  /** The frame, by index, in which the tile is sharpest. */
  best: number;
  /** Height of the fitted peak, ln energy above noise. */
  peak: number;
  /** Standard deviation of the samples around the fit. */
  error: number;
}

export interface FocusFit {
  /** One per tile, row by row; undefined for a tile whose curve has no peak. */
  tiles: (TileFocus | undefined)[];
  /** Median width of the curves. */
  width: number;
}

/** Trial widths, usual steps. */
const trialWidths = Array.from({ length: 22 }, (_, i) => 0.2 * 1.2 ** i);
/** Offsets from -maxBeyondEnd to maxBeyondEnd, and frames around the best one, in a falloff table. */
const offsetCount = (2 * maxBeyondEnd) / offsetStep + 1;
const tableFrames = 2 * maxSamplesPerSide + 1;

/**
 * Fits every tile's curve over the rail positions of the frames: first independently, then with the median width as
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
  const tables = new Map<number, Float64Array>();
  const fitAnew = (tile: number, priorLogWidth: number | undefined) =>
    settled.has(tile) ? settled.get(tile) : fitTile(curves, tile, positions, priorLogWidth, tables);
  const first = Array.from({ length: tiles }, (_, tile) => fitAnew(tile, undefined));
  const { frames } = curves;
  const inner = wellFitted(first, frames);
  const width = median(Float64Array.from(inner, (fit) => Math.log(fit.width)));
  if (inner.length === 0) return { tiles: first, width: Number.NaN };
  const second = first.map((fit, tile) => fit && fitAnew(tile, width));
  const falloff = measuredFalloff(curves, second, positions);
  const tiled = second.map((fit, tile) =>
    fit && falloff && !settled.has(tile) && (fit.best === 0 || fit.best === frames - 1)
      ? fitEnd(curves, tile, positions, fit, falloff)
      : fit,
  );
  return { tiles: tiled, width: Math.exp(width) };
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
    if (!fit || fit.best === 0 || fit.best === frames - 1 || fit.error >= maxWidthError) continue;
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
  return found.length * falloffBinSteps >= minFalloffSteps ? found : undefined;
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
  return tiles.flatMap((fit) =>
    fit && fit.best > 0 && fit.best < frames - 1 && fit.error < maxWidthError ? [fit] : [],
  );
}

/** Frames on each side of its best one that a curve is fitted to, where curves are this wide. */
export function samplesPerSide(width: number): number {
  return Math.min(maxSamplesPerSide, Math.max(minSamplesPerSide, Math.ceil(widthsPerSide * width)));
}

function fitTile(
  curves: FocusCurves,
  tile: number,
  positions: readonly number[],
  priorLogWidth: number | undefined,
  tables: Map<number, Float64Array>,
): TileFocus | undefined {
  const { frames, level, floor } = curves;
  const detection = detectionLevel(curves);
  const at = tile * frames;
  const peak = peakFrame(curves, tile);
  if (peak === undefined) return undefined;
  const best = peak;
  const side = priorLogWidth === undefined ? minSamplesPerSide : samplesPerSide(Math.exp(priorLogWidth));
  const first = Math.max(0, best - side);
  const used = level.subarray(at + first, at + Math.min(frames - 1, best + side) + 1);
  const values: number[] = [];
  /** Where in a row of the falloff each value lies, from the first of those used. */
  const places: number[] = [];
  for (const [k, value] of used.entries()) {
    if (Number.isNaN(value)) continue;
    values.push(value);
    places.push(k);
  }
  const count = values.length;
  if (count < 3) return undefined;
  const railSign = positions[frames - 1] >= positions[0] ? 1 : -1;
  const isFirst = best === first + places[0];
  const isLast = best === first + places[count - 1];
  const ends = [isFirst ? maxBeyondEnd : maxOffset, isLast ? maxBeyondEnd : maxOffset];
  const falloff = falloffTable(best, positions, railSign, tables);
  let found: TileFocus | undefined;
  let bestCost = Number.POSITIVE_INFINITY;
  for (const [w, width] of trialWidths.entries()) {
    const widthPenalty =
      priorLogWidth === undefined ? 0 : ((Math.log(width) - priorLogWidth) / logWidthSigma) ** 2;
    // No error makes up for it.
    if (widthPenalty >= bestCost) continue;
    for (let off = -ends[0]; off <= ends[1]; off += offsetStep) {
      // Index in the table of the falloff at the first frame used.
      const row = (w * offsetCount + (off + maxBeyondEnd) / offsetStep) * tableFrames + maxSamplesPerSide;
      const start = row - best + first;
      let sum = 0;
      let weight = 0;
      for (let i = 0; i < count; i++) {
        // What is near the floor does not give the height of the peak.
        if (values[i] <= detection) continue;
        sum += values[i] - falloff[start + places[i]];
        weight++;
      }
      const peak = sum / weight;
      let error = 0;
      let cost = widthPenalty;
      // As soon as it costs more than the best so far it is out: an error only grows.
      for (let i = 0; i < count && cost < bestCost; i++) {
        const residual = values[i] - Math.max(floor, peak + falloff[start + places[i]]);
        // The flank of a curve may belong to another depth in the tile.
        error += Math.min(residual * residual, 1);
        cost = error / mixedTileSigma ** 2 + widthPenalty;
      }
      if (cost < bestCost) {
        bestCost = cost;
        const position = positions[best] + railSign * off;
        found = { position, width, best, peak, error: Math.sqrt(error / count) };
      }
    }
  }
  return found && levelsOff(found) ? { ...found, position: positions[best] } : found;

  /** Whether a curve that was fitted with its peak beyond an end has levelled off at the end: then it peaks there. */
  function levelsOff({ position, width }: TileFocus): boolean {
    const inner = best === 0 ? 1 : best === frames - 1 ? frames - 2 : -1;
    if (inner < 0 || (position - positions[best]) * (positions[best] - positions[inner]) <= 0) return false;
    const expected =
      falloffAt(positions[best] - position, width) - falloffAt(positions[inner] - position, width);
    return level[at + best] - level[at + inner] < minEndRise * expected;
  }
}

/**
 * Falloff of all widths, for all offsets of the peak from frame `best`, at the frames around it: (widths, offsets,
 * frames). Many tiles share the table, and its logarithms are most of the work of a fit.
 */
function falloffTable(
  best: number,
  positions: readonly number[],
  railSign: number,
  known: Map<number, Float64Array>,
): Float64Array {
  const kept = known.get(best);
  if (kept) return kept;
  const table = new Float64Array(trialWidths.length * offsetCount * tableFrames);
  const first = Math.max(0, best - maxSamplesPerSide);
  const end = Math.min(positions.length, best + maxSamplesPerSide + 1);
  let row = maxSamplesPerSide - best;
  for (const width of trialWidths) {
    for (let i = 0; i < offsetCount; i++, row += tableFrames) {
      const position = positions[best] + railSign * (i * offsetStep - maxBeyondEnd);
      for (let k = first; k < end; k++) table[row + k] = falloffAt(positions[k] - position, width);
    }
  }
  known.set(best, table);
  return table;
}

import type { RowSource } from '../mend/raster.js';
import { clipRegion, growRegion, type PictureRegion } from '../trace/picture-region.js';
import type { DoubtfulPlace } from './protocol.js';
import { readReduced } from './reduce.js';

/** What the frames show of the cells of the picture: see `CurveVolume`. */
export interface CellCurves {
  readonly cellPx: number;
  readonly columns: number;
  readonly rows: number;
  /** Focus measure of a cell by index among the frames, squared levels of 8 bits; null where a frame does not show it. */
  curve(cell: number): (number | null)[];
  /** Luma of a cell in a frame, its light gain removed, levels of 8 bits. */
  luma(frame: number, cell: number): number;
}

/** Places on the list, at most. */
export const maxPlaces = 60;
/** A frame is a candidate where it shows this much of the largest measure. */
const candidateShare = 0.25;
/**
 * A line of one pixel of contrast c over even ground has a modified Laplacian of 2 c: so much contrast goes with a square
 * root of the measure.
 */
const contrastOfRoot = 0.5;
/** Doubt times contrast below this is not seen, levels of 8 bits. */
const minScore = 2.5;
/** Cells belong to a place down to this share of its greatest score. */
const edgeShare = 0.4;
/** Cells from the middle of a place to its edge, at most. */
const maxCells = 10;
/** A place shows no fewer pixels a side: less cannot be judged. */
const minSidePx = 28;

/**
 * Places where the choice of frames is uncertain and shows: by (1 - confidence) times the contrast that a wrong choice
 * would make there, in levels of 8 bits. Greedy: the cell of the greatest score, averaged with its neighbours, and what
 * belongs to it make a place; then the next. Pixels that no frame supplies are passed over.
 *
 * @param confidence The map, 255 = certain.
 * @param sources The map of frame numbers.
 * @param numbers Numbers of the frames, by index among them.
 * @returns Those of the greatest score first.
 */
export function doubtfulPlaces(
  curves: CellCurves,
  confidence: RowSource,
  sources: RowSource,
  numbers: readonly number[],
): DoubtfulPlace[] {
  const { cellPx, columns, rows } = curves;
  const cells = { x: 0, y: 0, width: columns, height: rows };
  const trust = readReduced(confidence, cells, cellPx, 'mean');
  const suppliers = readReduced(sources, cells, cellPx, 'pick');
  const indexOf = new Map(numbers.map((number, i) => [number, i]));
  const doubt = new Float32Array(trust.length);
  const contrast = new Float32Array(trust.length);
  for (let cell = 0; cell < trust.length; cell++) {
    const supplier = indexOf.get(suppliers[cell]);
    if (supplier === undefined) continue;
    doubt[cell] = 1 - trust[cell] / 255;
    contrast[cell] = contrastOfChoice(curves, cell, supplier);
  }
  const scores = smooth(
    doubt.map((value, cell) => value * contrast[cell]),
    columns,
    rows,
  );
  const order = [...scores.keys()].filter((cell) => scores[cell] >= minScore);
  order.sort((first, second) => scores[second] - scores[first]);
  const taken = new Uint8Array(scores.length);
  const places: DoubtfulPlace[] = [];
  for (const peak of order) {
    if (places.length === maxPlaces) break;
    if (taken[peak]) continue;
    const members = cellsAround(peak, scores, columns, rows, taken);
    const xs = members.map((cell) => cell % columns);
    const ys = members.map((cell) => Math.floor(cell / columns));
    const [left, top] = [Math.min(...xs), Math.min(...ys)];
    const region = widened(
      {
        x: left * cellPx,
        y: top * cellPx,
        width: (Math.max(...xs) + 1 - left) * cellPx,
        height: (Math.max(...ys) + 1 - top) * cellPx,
      },
      confidence,
    );
    const mean = (values: Float32Array) =>
      members.reduce((sum, cell) => sum + values[cell], 0) / members.length;
    places.push({ region, confidence: 1 - mean(doubt), contrast: mean(contrast) });
  }
  return places;
}

/**
 * How much a cell could look other than it does: the greatest difference between the frame that supplies it and one that
 * could do so instead, a peak of its focus curve, in levels of 8 bits, as the root of a sum of squares: the difference of
 * their lumas, and that of their detail. Between two frames without a valley the curve is that of one thing, which the
 * one shows sharper; across a valley two things are sharp, and their details have nothing in common.
 */
export function contrastOfChoice(
  { curve: curveOf, luma }: Pick<CellCurves, 'curve' | 'luma'>,
  cell: number,
  supplier: number,
): number {
  const known = curveOf(cell);
  const values = known.flatMap((value) => value ?? []);
  if (values.length === 0 || known[supplier] === null) return 0;
  // What the frame shows that is blurred most is noise.
  const noise = Math.min(...values);
  const curve = known.map((value) => (value === null ? -1 : value - noise));
  const floor = candidateShare * Math.max(...curve);
  let greatest = 0;
  curve.forEach((measure, i) => {
    const isPeak = measure >= (curve[i - 1] ?? -1) && measure >= (curve[i + 1] ?? -1);
    if (i === supplier || measure < 0 || measure < floor || !isPeak) return;
    const own = curve[supplier];
    const lower = Math.min(own, measure);
    const between = curve.slice(Math.min(i, supplier) + 1, Math.max(i, supplier));
    const valley = Math.min(lower, ...between.filter((value) => value >= 0));
    const alike = lower > 0 ? valley / lower : 0;
    const detail = own + measure - 2 * alike * Math.sqrt(own * measure);
    const light = luma(i, cell) - luma(supplier, cell);
    greatest = Math.max(greatest, light ** 2 + contrastOfRoot ** 2 * Math.max(0, detail));
  });
  return Math.sqrt(greatest);
}

/** Means over 3 x 3 cells. */
function smooth(values: Float32Array, columns: number, rows: number): Float32Array {
  const out = new Float32Array(values.length);
  for (let y = 0; y < rows; y++) {
    for (let x = 0; x < columns; x++) {
      let sum = 0;
      let count = 0;
      for (let j = Math.max(0, y - 1); j <= Math.min(rows - 1, y + 1); j++) {
        for (let i = Math.max(0, x - 1); i <= Math.min(columns - 1, x + 1); i++) {
          sum += values[j * columns + i];
          count++;
        }
      }
      out[y * columns + x] = sum / count;
    }
  }
  return out;
}

/** The cells that hang together with a peak, in their box; they and those beside them are taken from now on. */
function cellsAround(
  peak: number,
  scores: Float32Array,
  columns: number,
  rows: number,
  taken: Uint8Array,
): number[] {
  const [px, py] = [peak % columns, Math.floor(peak / columns)];
  const floor = Math.max(minScore, edgeShare * scores[peak]);
  const members = [peak];
  taken[peak] = 1;
  for (const cell of members) {
    const [x, y] = [cell % columns, Math.floor(cell / columns)];
    for (let j = Math.max(0, y - 1); j <= Math.min(rows - 1, y + 1); j++) {
      for (let i = Math.max(0, x - 1); i <= Math.min(columns - 1, x + 1); i++) {
        const next = j * columns + i;
        const isFar = Math.abs(i - px) > maxCells || Math.abs(j - py) > maxCells;
        if (taken[next] || isFar) continue;
        if (scores[next] < floor) continue;
        taken[next] = 1;
        members.push(next);
      }
    }
  }
  for (const cell of members) {
    const [x, y] = [cell % columns, Math.floor(cell / columns)];
    for (let j = Math.max(0, y - 2); j <= Math.min(rows - 1, y + 2); j++) {
      for (let i = Math.max(0, x - 2); i <= Math.min(columns - 1, x + 2); i++) taken[j * columns + i] = 1;
    }
  }
  return members;
}

/** A region that is no smaller than can be judged, within the picture. */
function widened(region: PictureRegion, size: RowSource): PictureRegion {
  const short = Math.max(0, minSidePx - Math.min(region.width, region.height));
  return clipRegion(growRegion(region, Math.ceil(short / 2)), size)!;
}

import type { Size } from '../image/image.js';
import { levelSizes } from '../image/level-sizes.js';
import { applyMatrix, type Matrix3 } from '../image/transform.js';
import {
  type FramePlane,
  oneBand,
  type RowBands,
  type RowRange,
  type RowWindow,
  stripRows,
} from './row-windows.js';

/** From this level on every memory holds planes of the composite whole: a 64th of the pixels. */
const wholeLevel = 3;
/** Bands begin at rows where a strip begins at every level up to `wholeLevel`. */
const bandUnit = stripRows << wholeLevel;
/** Levels at which frames are measured in their own grid. */
const frameLevels = 4;
/** Rows around what a band lies on in a frame: taps of the warp and rounding, at level 0 and at the others. */
const frameMargins = [14, 4, 4, 4];
/** Rows about a strip that the focus measure reads. */
const measureRows = 3;

/** Most bands that a picture can be cut into. */
export function mostBands({ height }: Size): number {
  return Math.ceil(height / bandUnit);
}

/**
 * Cuts a picture into bands of rows, as equal as they can be.
 *
 * @param toFrame Composite pixel to frame pixel of every frame.
 */
export function cutBands(size: Size, frame: Size, toFrame: readonly Matrix3[], count: number): RowBands {
  if (count === 1) return oneBand;
  const units = mostBands(size);
  const edges = Array.from({ length: count + 1 }, (_, band) => Math.round((band * units) / count) * bandUnit);
  edges[count] = size.height;
  const bands = edges.slice(1).map((to, band) => ({ from: edges[band], to }));
  const frames = frameRanges(size, frame, toFrame, bands);
  return {
    count,
    composite(level, height, halo) {
      const own = bands.map(({ from, to }) => ({
        from: Math.min(height, alignUp(from / 2 ** level)),
        to: to === size.height ? height : Math.min(height, alignUp(to / 2 ** level)),
      }));
      const held = own.map(({ from, to }) =>
        level >= wholeLevel ? { from: 0, to: height } : widened({ from, to }, halo, height),
      );
      return { height, own, held };
    },
    frame(plane, level, height): RowWindow {
      const ranges = frames[plane][level];
      return { height, own: ranges, held: ranges };
    },
    frameStripRows: frameStrip,
  };
}

/** In a frame's grid memories compute rows near their borders twice: short strips make these few. */
function frameStrip(level: number): number {
  return level === 0 ? stripRows : 8;
}

function alignUp(row: number): number {
  return Math.ceil(row / stripRows) * stripRows;
}

function widened({ from, to }: RowRange, by: number, height: number): RowRange {
  return { from: Math.max(0, from - by), to: Math.min(height, to + by) };
}

/** Rows of a frame that each band is made from, so that each memory can compute all that it needs of it: by level. */
function frameRanges(
  size: Size,
  frame: Size,
  toFrame: readonly Matrix3[],
  bands: readonly RowRange[],
): Record<FramePlane, RowRange[][]> {
  const heights = levelSizes(frame)
    .slice(0, frameLevels)
    .map(({ height }) => height);
  const found = bands.map((band, i) => {
    // The outermost memories hold what no band asks for, since noise is measured everywhere in a frame.
    const ends = { first: i === 0, last: i === bands.length - 1 };
    const [low, high] = extent(size, toFrame, band);
    const wanted = heights.map((height, level) => {
      const margin = frameMargins[level];
      const from = Math.max(0, Math.min(height - 1, Math.floor(low / 2 ** level) - margin));
      const to = Math.max(from + 1, Math.min(height, Math.ceil(high / 2 ** level) + margin));
      return { from: ends.first ? 0 : from, to: ends.last ? height : to };
    });
    const aligned = ({ from, to }: RowRange, level: number, unit = frameStrip(level)): RowRange => ({
      from: Math.max(0, Math.floor(from / unit) * unit),
      to: Math.min(heights[level], Math.ceil(to / unit) * unit),
    });
    const codes = wanted.map((range, level) => aligned(range, level));
    const luma = codes.map((range) => range);
    for (let level = heights.length - 1; level >= 1; level--) {
      const ofMeasure = widened(codes[level], measureRows, heights[level]);
      const next = luma[level + 1];
      // Rows 2 j - 2 to 2 j + 2 make row j of the next level.
      const ofNext = next ? { from: 2 * next.from - 2, to: 2 * next.to + 1 } : ofMeasure;
      luma[level] = aligned(joined(ofMeasure, ofNext), level);
    }
    const first = luma[1] ? { from: 2 * luma[1].from, to: 2 * luma[1].to } : codes[0];
    // Two strips of level 0 are one of level 1.
    codes[0] = aligned(joined(codes[0], first), 0, 2 * stripRows);
    luma[0] = codes[0];
    if (luma[1]) luma[1] = { from: codes[0].from >> 1, to: (codes[0].to + 1) >> 1 };
    const half = wanted[1] ? aligned(wanted[1], 1, stripRows) : wanted[0];
    const samples = widened(
      joined(wanted[0], joined(codes[0], { from: 2 * half.from, to: 2 * half.to })),
      measureRows + 1,
      heights[0],
    );
    return { codes, luma, half, samples };
  });
  return {
    codes: heights.map((_, level) => found.map(({ codes }) => codes[level])),
    luma: heights.map((_, level) => found.map(({ luma }) => luma[level])),
    half: heights.map(() => found.map(({ half }) => half)),
    samples: heights.map(() => found.map(({ samples }) => samples)),
  };
}

function joined(one: RowRange, other: RowRange): RowRange {
  return { from: Math.min(one.from, other.from), to: Math.max(one.to, other.to) };
}

/** First and last row of the frames that pixels of a band lie on; transforms are affine, so the corners tell. */
function extent({ width }: Size, toFrame: readonly Matrix3[], { from, to }: RowRange): [number, number] {
  const rows = toFrame.flatMap((m) =>
    [-8, width + 8].flatMap((x) => [from, to + 8].map((y) => applyMatrix(m, x, y)[1])),
  );
  return [Math.min(...rows), Math.max(...rows)];
}

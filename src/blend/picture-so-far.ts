import type { Size } from '../image/image.js';

/** A picture made small, 8-bit RGB, (rows, cols, 3). */
export interface SmallPicture extends Size {
  pixels: Uint8Array;
}

/** A level of the pyramid while frames are added to it, values from 0 to 255. */
export interface GrowingLevel extends Size {
  /** Elements from row to row of all planes. */
  stride: number;
  /** Sums of weighted coefficients, a plane a channel, and of their weights. */
  sums: readonly Float32Array[];
  /** The level of the frame that was added last, encoded, a plane a channel. */
  picture: readonly Float32Array[];
}

/** The picture is shown while it grows with sides of at most so many px. */
export const growingSide = 1280;

/** Weights below this are none. */
const tiny = 1e-6;

/**
 * What a weighted Laplacian pyramid holds so far: where no frame has supplied a coefficient yet, that of the frame that
 * was added last stands in. Reads the sums and leaves them as they are.
 *
 * @param levels From the level that the picture has to the coarsest one.
 */
export function pictureSoFar(levels: readonly GrowingLevel[]): SmallPicture {
  const { width, height } = levels[0];
  const pixels = new Uint8Array(width * height * 3);
  for (let plane = 0; plane < 3; plane++) {
    const values = collapsePlane(levels, plane);
    for (let i = 0; i < values.length; i++) {
      pixels[3 * i + plane] = Math.min(255, Math.max(0, Math.round(values[i])));
    }
  }
  return { pixels, width, height };
}

/** A plane of the finest level given, row by row. */
function collapsePlane(levels: readonly GrowingLevel[], plane: number): Float32Array {
  let coarse: Float32Array | undefined;
  /** `coarse` less the same level of the frame that stands in. */
  let ahead: Float32Array | undefined;
  for (const { width, height, stride, sums: all, picture } of levels.toReversed()) {
    const [sums, weights, frame] = [all[plane], all[3], picture[plane]];
    const values = coarse ? expand(coarse, width, height) : new Float32Array(width * height);
    const lead = ahead ? expand(ahead, width, height) : new Float32Array(width * height);
    for (let y = 0, i = 0; y < height; y++) {
      for (let x = 0; x < width; x++, i++) {
        const at = y * stride + x;
        const shown = frame[at];
        const sum = weights[at];
        // The stand-in's own coefficient is its pixel less its expanded coarser level, which `lead` has taken out.
        values[i] = sum > tiny ? values[i] + sums[at] / sum : shown + lead[i];
        lead[i] = values[i] - shown;
      }
    }
    [coarse, ahead] = [values, lead];
  }
  return coarse!;
}

/** The next finer level of `width` x `height` by the taps of assembly/pyramid.ts, rows and columns mirrored at the borders. */
function expand(coarse: Float32Array, width: number, height: number): Float32Array {
  const columns = (width + 1) >> 1;
  const rows = (height + 1) >> 1;
  const fine = new Float32Array(width * height);
  const row = new Float32Array(columns);
  for (let y = 0; y < height; y++) {
    const [above, here, below] = [-1, 0, 1].map((by) => mirrored((y >> 1) + by, rows) * columns);
    for (let x = 0; x < columns; x++) {
      row[x] =
        y & 1
          ? (coarse[here + x] + coarse[below + x]) / 2
          : (coarse[above + x] + 6 * coarse[here + x] + coarse[below + x]) / 8;
    }
    for (let x = 0, at = y * width; x < width; x++, at++) {
      const i = x >> 1;
      const next = row[mirrored(i + 1, columns)];
      fine[at] = x & 1 ? (row[i] + next) / 2 : (row[mirrored(i - 1, columns)] + 6 * row[i] + next) / 8;
    }
  }
  return fine;
}

function mirrored(index: number, length: number): number {
  const inside = index < 0 ? -index : index < length ? index : 2 * length - 2 - index;
  return Math.min(length - 1, Math.max(0, inside));
}

/** The finest level but the first whose sides are at most `maxSide` px, else the second; none of a picture of one level. */
export function levelToShow(sizes: readonly Size[], maxSide: number): number | undefined {
  const isSmall = ({ width, height }: Size, level: number) => level > 0 && Math.max(width, height) <= maxSide;
  return sizes.length > 1 ? Math.max(1, sizes.findIndex(isSmall)) : undefined;
}

import type { Size } from '../image/image.js';
import type { Arena, Planes } from '../kernels/arena.js';

/** A picture made small, 8-bit RGB, (rows, cols, 3). */
export interface SmallPicture extends Size {
  pixels: Uint8Array;
}

/** A level of the pyramid while frames are added to it, values from 0 to 255. */
export interface GrowingLevel {
  /** Sum of weighted coefficients, and of their weights. */
  acc: Planes;
  weight: Planes;
  /** The level of the frame that was added last, encoded. */
  picture: Planes;
}

/** Weights below this are none. */
const tiny = 1e-6;

/**
 * What a weighted Laplacian pyramid holds so far: where no frame has supplied a coefficient yet, that of the frame that
 * was added last stands in. Reads the sums and leaves them as they are.
 *
 * @param levels From the level that the picture has to the coarsest one.
 */
export function pictureSoFar(arena: Arena, levels: readonly GrowingLevel[]): SmallPicture {
  const { width, height } = levels[0].acc;
  const pixels = new Uint8Array(width * height * 3);
  for (let plane = 0; plane < 3; plane++) {
    const values = collapsePlane(arena, levels, plane);
    for (let i = 0; i < values.length; i++) {
      pixels[3 * i + plane] = Math.min(255, Math.max(0, Math.round(values[i])));
    }
  }
  return { pixels, width, height };
}

/** A plane of the finest level given, row by row. */
function collapsePlane(arena: Arena, levels: readonly GrowingLevel[], plane: number): Float32Array {
  let coarse: Float32Array | undefined;
  /** `coarse` less the same level of the frame that stands in. */
  let ahead: Float32Array | undefined;
  for (const { acc, weight, picture } of levels.toReversed()) {
    const { width, height, stride } = acc;
    const [sums, weights, frame] = [
      arena.planeF32(acc, plane),
      arena.planeF32(weight),
      arena.planeF32(picture, plane),
    ];
    const values = coarse ? expand(coarse, width, height) : new Float32Array(width * height);
    const lead = ahead ? expand(ahead, width, height) : new Float32Array(width * height);
    for (let y = 0, i = 0; y < height; y++) {
      for (let x = 0; x < width; x++, i++) {
        const at = y * stride + x;
        const shown = frame[y * picture.stride + x];
        const sum = weights[y * weight.stride + x];
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

import { solveCholesky } from './solve-symmetric.js';

/**
 * A symmetric matrix of which only a band about the diagonal differs from zero: its memory grows with the size, not with
 * the square of it.
 */
export class SymmetricBand {
  readonly halfBandwidth: number;
  /** Row by row, of each the elements from `halfBandwidth` left of the diagonal up to it. */
  private readonly values: Float64Array;

  /** @param halfBandwidth Maximum distance of an element from the diagonal, columns. */
  constructor(
    readonly size: number,
    halfBandwidth: number,
  ) {
    this.halfBandwidth = Math.min(halfBandwidth, size - 1);
    this.values = new Float64Array(size * (this.halfBandwidth + 1));
  }

  /** Adds to an element. Of each symmetric pair the lower one is stored: additions to the upper are ignored. */
  add(row: number, col: number, value: number): void {
    if (col > row) return;
    if (row - col > this.halfBandwidth) {
      throw new RangeError(
        `Expected an element at most ${this.halfBandwidth} from the diagonal but received (${row}, ${col})`,
      );
    }
    this.values[this.indexOf(row, col)] += value;
  }

  /** Makes row and column those of the unit matrix. */
  pin(index: number): void {
    const last = Math.min(this.size - 1, index + this.halfBandwidth);
    for (let col = Math.max(0, index - this.halfBandwidth); col < index; col++) {
      this.values[this.indexOf(index, col)] = 0;
    }
    for (let row = index + 1; row <= last; row++) this.values[this.indexOf(row, index)] = 0;
    this.values[this.indexOf(index, index)] = 1;
  }

  /** Solution for this right side; undefined when the matrix is not positive definite. */
  solve(right: Float64Array): Float64Array | undefined {
    const { values, size, halfBandwidth } = this;
    return solveCholesky(values, halfBandwidth, halfBandwidth, right, size, halfBandwidth);
  }

  private indexOf(row: number, col: number): number {
    return row * this.halfBandwidth + col + this.halfBandwidth;
  }
}

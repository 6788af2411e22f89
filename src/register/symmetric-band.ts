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

  /** Adds the normal equations of  x_later - x_earlier = difference,  by their weight; `right` is the right side. */
  addDifference(
    earlier: number,
    later: number,
    difference: number,
    weight: number,
    right: Float64Array,
  ): void {
    this.add(earlier, earlier, weight);
    this.add(later, later, weight);
    this.add(Math.max(earlier, later), Math.min(earlier, later), -weight);
    right[earlier] -= weight * difference;
    right[later] += weight * difference;
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

  /** Solution for this right side by Cholesky's method; undefined when the matrix is not positive definite. */
  solve(right: Float64Array): Float64Array | undefined {
    const { values, size, halfBandwidth } = this;
    const factor = new Float64Array(values.length);
    const diagonal = (row: number) => row * (halfBandwidth + 1) + halfBandwidth;
    // Element (row, col) of a band is that of index diagonal(row) + col - row.
    for (let row = 0; row < size; row++) {
      const first = Math.max(0, row - halfBandwidth);
      const own = diagonal(row) - row;
      for (let col = first; col <= row; col++) {
        const other = diagonal(col) - col;
        let sum = values[own + col];
        for (let k = first; k < col; k++) sum -= factor[own + k] * factor[other + k];
        if (col < row) factor[own + col] = sum / factor[other + col];
        else if (sum > 1e-14 * Math.abs(values[own + row])) factor[own + row] = Math.sqrt(sum);
        else return undefined;
      }
    }
    const x = Float64Array.from(right.subarray(0, size));
    for (let row = 0; row < size; row++) {
      const own = diagonal(row) - row;
      for (let k = Math.max(0, row - halfBandwidth); k < row; k++) x[row] -= factor[own + k] * x[k];
      x[row] /= factor[own + row];
    }
    for (let row = size - 1; row >= 0; row--) {
      const own = diagonal(row) - row;
      x[row] /= factor[own + row];
      for (let k = Math.max(0, row - halfBandwidth); k < row; k++) x[k] -= factor[own + k] * x[row];
    }
    return x;
  }

  private indexOf(row: number, col: number): number {
    return row * this.halfBandwidth + col + this.halfBandwidth;
  }
}

/** Solves a symmetric positive definite system, row-major (n, n), of which the lower triangle is read; see `SymmetricBand.solve`. */
export function solveSymmetric(
  matrix: Float64Array,
  right: Float64Array,
  n: number,
): Float64Array | undefined {
  const full = new SymmetricBand(n, n - 1);
  for (let row = 0; row < n; row++) {
    for (let col = 0; col <= row; col++) full.add(row, col, matrix[row * n + col]);
  }
  return full.solve(right);
}

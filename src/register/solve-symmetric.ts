/**
 * Solves a symmetric positive definite system by Cholesky's method.
 * `matrix` is row-major n x n, of which only the band `halfBandwidth` left of the diagonal is read.
 * Returns undefined when the matrix is not positive definite.
 */
export function solveSymmetric(
  matrix: Float64Array,
  right: Float64Array,
  n: number,
  halfBandwidth = n - 1,
): Float64Array | undefined {
  return solveCholesky(matrix, n, 0, right, n, halfBandwidth);
}

/** As `solveSymmetric`; the element of `row` and `col`, col <= row, is `values[row * rowStride + col + offset]`. */
export function solveCholesky(
  values: Float64Array,
  rowStride: number,
  offset: number,
  right: Float64Array,
  n: number,
  halfBandwidth: number,
): Float64Array | undefined {
  const factor = new Float64Array(n * (halfBandwidth + 1));
  const stride = halfBandwidth + 1;
  // factor[row * stride + (col - row + halfBandwidth)] holds L[row][col].
  for (let row = 0; row < n; row++) {
    for (let col = Math.max(0, row - halfBandwidth); col <= row; col++) {
      let sum = values[row * rowStride + col + offset];
      for (let k = Math.max(0, row - halfBandwidth, col - halfBandwidth); k < col; k++) {
        sum -=
          factor[row * stride + k - row + halfBandwidth] * factor[col * stride + k - col + halfBandwidth];
      }
      if (col === row) {
        if (!(sum > 1e-14 * Math.abs(values[row * rowStride + row + offset]))) return undefined;
        factor[row * stride + halfBandwidth] = Math.sqrt(sum);
      } else {
        factor[row * stride + col - row + halfBandwidth] = sum / factor[col * stride + halfBandwidth];
      }
    }
  }
  const x = Float64Array.from(right.subarray(0, n));
  for (let row = 0; row < n; row++) {
    for (let k = Math.max(0, row - halfBandwidth); k < row; k++) {
      x[row] -= factor[row * stride + k - row + halfBandwidth] * x[k];
    }
    x[row] /= factor[row * stride + halfBandwidth];
  }
  for (let row = n - 1; row >= 0; row--) {
    x[row] /= factor[row * stride + halfBandwidth];
    for (let k = Math.max(0, row - halfBandwidth); k < row; k++) {
      x[k] -= factor[row * stride + k - row + halfBandwidth] * x[row];
    }
  }
  return x;
}

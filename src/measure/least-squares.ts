/**
 * Coefficients that bring the weighted sum of terms nearest to values, by least squares: normal equations, solved by
 * elimination with pivots.
 *
 * @param rows For each observation its terms, and the value behind them.
 * @returns Undefined where the terms do not determine them.
 */
export function leastSquares(rows: Iterable<readonly number[]>): number[] | undefined {
  let system: number[][] | undefined;
  for (const row of rows) {
    const count = row.length - 1;
    system ??= Array.from({ length: count }, () => new Array<number>(count + 1).fill(0));
    for (let i = 0; i < count; i++) for (let j = 0; j <= count; j++) system[i][j] += row[i] * row[j];
  }
  return system && solve(system);
}

/** Solves a small system of equations, given with its right side as last column. */
export function solve(system: number[][]): number[] | undefined {
  const count = system.length;
  const scale = Math.max(...system.map((row, i) => Math.abs(row[i])));
  for (let column = 0; column < count; column++) {
    let pivot = column;
    for (let row = column + 1; row < count; row++) {
      if (Math.abs(system[row][column]) > Math.abs(system[pivot][column])) pivot = row;
    }
    [system[column], system[pivot]] = [system[pivot], system[column]];
    const head = system[column][column];
    if (!(Math.abs(head) > 1e-12 * scale)) return undefined;
    for (let row = 0; row < count; row++) {
      if (row === column) continue;
      const factor = system[row][column] / head;
      for (let i = column; i <= count; i++) system[row][i] -= factor * system[column][i];
    }
  }
  return system.map((row, i) => row[count] / row[i]);
}

/**
 * Distance of every pixel to the nearest seed, exact.
 * `squared` has shape (rows, cols), px², Infinity when there is no seed; `nearest` holds the index of one
 * nearest seed, -1 when there is none.
 */
export interface DistanceMap {
  squared: Float32Array;
  nearest: Int32Array;
}

/**
 * Exact Euclidean distance transform of a binary picture with the seed that is nearest.
 * Columns by two scans, rows by the lower envelope of parabolas (Felzenszwalb & Huttenlocher 2012,
 * Theory of Computing 8:415-428). `seeds` has shape (rows, cols), non-zero = seed.
 */
export function distanceTransform(seeds: Uint8Array, width: number, height: number): DistanceMap {
  const seedRow = nearestSeedRowInColumn(seeds, width, height);
  const squared = new Float32Array(width * height);
  const nearest = new Int32Array(width * height);
  const apex = new Int32Array(width);
  const from = new Float64Array(width + 1);
  const cost = new Float64Array(width);
  for (let y = 0; y < height; y++) {
    const row = y * width;
    let last = -1;
    for (let x = 0; x < width; x++) {
      const sy = seedRow[row + x];
      if (sy < 0) continue;
      const own = (sy - y) * (sy - y);
      cost[x] = own;
      let start = Number.NEGATIVE_INFINITY;
      while (last >= 0) {
        const other = apex[last];
        start = (own + x * x - cost[other] - other * other) / (2 * (x - other));
        if (start > from[last]) break;
        last--;
        start = Number.NEGATIVE_INFINITY;
      }
      last++;
      apex[last] = x;
      from[last] = start;
    }
    if (last < 0) {
      squared.fill(Number.POSITIVE_INFINITY, row, row + width);
      nearest.fill(-1, row, row + width);
      continue;
    }
    from[last + 1] = Number.POSITIVE_INFINITY;
    for (let x = 0, piece = 0; x < width; x++) {
      while (from[piece + 1] < x) piece++;
      const sx = apex[piece];
      squared[row + x] = (x - sx) * (x - sx) + cost[sx];
      nearest[row + x] = seedRow[row + sx] * width + sx;
    }
  }
  return { squared, nearest };
}

/** Row of the seed nearest in the same column, -1 when the column has none. */
function nearestSeedRowInColumn(seeds: Uint8Array, width: number, height: number): Int32Array {
  const seedRow = new Int32Array(width * height).fill(-1);
  for (let y = 0; y < height; y++) {
    for (let x = 0, i = y * width; x < width; x++, i++) {
      if (seeds[i] !== 0) seedRow[i] = y;
      else if (y > 0) seedRow[i] = seedRow[i - width];
    }
  }
  for (let y = height - 2; y >= 0; y--) {
    for (let x = 0, i = y * width; x < width; x++, i++) {
      const below = seedRow[i + width];
      if (below >= 0 && (seedRow[i] < 0 || below - y < y - seedRow[i])) seedRow[i] = below;
    }
  }
  return seedRow;
}

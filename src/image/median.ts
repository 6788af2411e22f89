/**
 * Median of the first `count` values, which are reordered; 0 when there are none. Of an even number, the upper of the
 * two in the middle: for the scales of hundreds of errors that is enough, and the search stays linear.
 */
export function median(values: Float64Array, count = values.length): number {
  return count === 0 ? 0 : orderStatistic(values, count >> 1, count);
}

/**
 * What would be at index `target` were the first `count` values sorted; they are reordered (quickselect; C. A. R. Hoare 1961,
 * "Algorithm 65: Find").
 */
export function orderStatistic(values: Float64Array, target: number, count = values.length): number {
  let from = 0;
  let to = count - 1;
  while (from < to) {
    const pivot = values[(from + to) >> 1];
    let low = from;
    let high = to;
    while (low <= high) {
      while (values[low] < pivot) low++;
      while (values[high] > pivot) high--;
      if (low <= high) {
        const swapped = values[low];
        values[low++] = values[high];
        values[high--] = swapped;
      }
    }
    if (target <= high) to = high;
    else if (target >= low) from = low;
    else break;
  }
  return values[target];
}

/** Standard deviation of normal errors over the median of their absolute values: 1 / Phi^-1(3 / 4). */
export const sigmaPerMad = 1.4826;

// The fit of a focus curve over its frames: see focus-fit.ts in src/rail.

/**
 * The width and the offset of a falloff that a curve follows best. For each width w and offset i from `firstOffset` to `lastOffset`
 *   peak = mean of values - falloff over the values above `detection`,
 *   cost = sum of min((value - max(floor, peak + falloff))^2, 1) / perError + penalties[w]
 * are taken over `count` values, f64, with falloff = table[(w offsets + i) frames + places[k]]. Returns whether one costs less than
 * infinity; the first that costs least is at `out`: f64 peak, the sum, w and i.
 *
 * table: f64; places: i32, which may count from before the table; penalties: f64, one a width.
 */
export function fitPeak(
  values: usize, places: usize, count: i32, table: usize, widths: i32, offsets: i32, frames: i32, firstOffset: i32,
  lastOffset: i32, penalties: usize, detection: f64, floor: f64, perError: f64, out: usize,
): i32 {
  let least: f64 = Infinity;
  let isFound: i32 = 0;
  for (let w = 0; w < widths; w++) {
    const penalty = load<f64>(penalties + (usize(w) << 3));
    // No error makes up for it.
    if (penalty >= least) continue;
    for (let i = firstOffset; i <= lastOffset; i++) {
      const row = (w * offsets + i) * frames;
      let sum: f64 = 0;
      let weight: f64 = 0;
      for (let k = 0; k < count; k++) {
        const value = load<f64>(values + (usize(k) << 3));
        // What is near the floor does not give the height of the peak.
        if (value <= detection) continue;
        sum += value - load<f64>(table + (usize(row + load<i32>(places + (usize(k) << 2))) << 3));
        weight++;
      }
      const peak = sum / weight;
      let error: f64 = 0;
      let cost = penalty;
      // As soon as it costs more than the best so far it is out: an error only grows.
      for (let k = 0; k < count && cost < least; k++) {
        const falloff = load<f64>(table + (usize(row + load<i32>(places + (usize(k) << 2))) << 3));
        const residual = load<f64>(values + (usize(k) << 3)) - max(floor, peak + falloff);
        // The flank of a curve may belong to another depth in the tile.
        error += min(residual * residual, 1);
        cost = error / perError + penalty;
      }
      if (cost < least) {
        least = cost;
        isFound = 1;
        store<f64>(out, peak);
        store<f64>(out, error, 8);
        store<f64>(out, f64(w), 16);
        store<f64>(out, f64(i), 24);
      }
    }
  }
  return isFound;
}

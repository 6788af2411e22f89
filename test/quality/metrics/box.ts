/**
 * Sum over the (2 radius + 1)² box about each pixel, boxes cut at the borders. `plane` has shape (rows, cols).
 * Running sums in double precision, so that subtracting leaves no drift.
 */
export function boxSum(plane: Float32Array, width: number, height: number, radius: number): Float32Array {
  const out = new Float32Array(plane.length);
  const columns = new Float64Array(width);
  const addRow = (y: number, sign: number) => {
    for (let x = 0, i = y * width; x < width; x++, i++) columns[x] += sign * plane[i];
  };
  for (let y = 0; y < Math.min(radius, height); y++) addRow(y, 1);
  for (let y = 0; y < height; y++) {
    if (y + radius < height) addRow(y + radius, 1);
    if (y - radius - 1 >= 0) addRow(y - radius - 1, -1);
    let sum = 0;
    for (let x = 0; x < Math.min(radius, width); x++) sum += columns[x];
    for (let x = 0, i = y * width; x < width; x++, i++) {
      if (x + radius < width) sum += columns[x + radius];
      if (x - radius - 1 >= 0) sum -= columns[x - radius - 1];
      out[i] = sum;
    }
  }
  return out;
}

/** Standard deviation in the box about each pixel, shape (rows, cols), in the plane's units. */
export function localDeviation(
  plane: Float32Array,
  width: number,
  height: number,
  radius: number,
): Float32Array {
  const counts = boxSum(new Float32Array(plane.length).fill(1), width, height, radius);
  const sums = boxSum(plane, width, height, radius);
  const squares = boxSum(
    plane.map((value) => value * value),
    width,
    height,
    radius,
  );
  for (let i = 0; i < plane.length; i++) {
    const mean = sums[i] / counts[i];
    squares[i] = Math.sqrt(Math.max(0, squares[i] / counts[i] - mean * mean));
  }
  return squares;
}

/** Mean of the masked pixels in the box about each pixel; NaN where the box holds none. */
export function maskedMean(
  plane: Float32Array,
  mask: Uint8Array,
  width: number,
  height: number,
  radius: number,
): Float32Array {
  const weight = new Float32Array(mask.length);
  for (let i = 0; i < mask.length; i++) if (mask[i] !== 0) weight[i] = 1;
  const counts = boxSum(weight, width, height, radius);
  for (let i = 0; i < weight.length; i++) weight[i] *= plane[i];
  const sums = boxSum(weight, width, height, radius);
  for (let i = 0; i < sums.length; i++) sums[i] /= counts[i];
  return sums;
}

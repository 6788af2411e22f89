/** A picture drawn with room about it, so that its blur has something to bring in: (height + 2 pad, width + 2 pad). */
export interface PaddedPicture {
  width: number;
  height: number;
  pad: number;
  /** Sums along each row up to a pixel, that one left out: (height + 2 pad, width + 2 pad + 1). */
  sums: Float64Array;
}

export function drawPadded(
  { width, height }: { width: number; height: number },
  pad: number,
  picture: (x: number, y: number) => number,
): PaddedPicture {
  const stride = width + 2 * pad + 1;
  const rows = height + 2 * pad;
  const sums = new Float64Array(stride * rows);
  for (let row = 0; row < rows; row++) {
    for (let column = 0; column + 1 < stride; column++) {
      const at = row * stride + column;
      sums[at + 1] = sums[at] + picture(column - pad, row - pad);
    }
  }
  return { width, height, pad, sums };
}

/**
 * Mean of a picture over a disc, the blur of a thin lens, (height, width); of a radius below half a pixel the picture
 * itself. By the sums along rows it costs the rows of the disc, not its area.
 */
export function discMean({ width, height, pad, sums }: PaddedPicture, radius: number): Float32Array {
  const stride = width + 2 * pad + 1;
  const reach = Math.ceil(radius);
  const spans: { at: number; half: number }[] = [];
  let pixels = 0;
  for (let v = -reach; v <= reach; v++) {
    const square = Math.max(0.4, radius) ** 2 - v * v;
    if (square < 0) continue;
    const half = Math.floor(Math.sqrt(square));
    spans.push({ at: v * stride, half });
    pixels += 2 * half + 1;
  }
  const out = new Float32Array(width * height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const centre = (y + pad) * stride + x + pad;
      let sum = 0;
      for (const { at, half } of spans) sum += sums[centre + at + half + 1] - sums[centre + at - half];
      out[y * width + x] = sum / pixels;
    }
  }
  return out;
}

/**
 * Radius, in full pixels, within which a mask pixel influences the blend through `levels` levels of the pyramid:
 * 2 (2^l - 1) down to level l by the five taps of each reduction, as much up again by the expansions.
 */
export function pyramidRadius(levels: number): number {
  return 4 * (2 ** levels - 1);
}

/** Coarser bands are blended over more than any feather here. */
const maxLevels = 7;

/**
 * Levels of the pyramid that blends within a feather: as many as have a radius of at most half of it, also along
 * diagonals, for the mask's edge lies in the middle of the feather.
 */
export function levelsFor(featherPx: number): number {
  let levels = 0;
  while (levels < maxLevels && pyramidRadius(levels + 1) * Math.SQRT2 <= featherPx / 2) levels++;
  return levels;
}

/**
 * The mask of a feather that is too narrow for a pyramid: 1 on the region, then a slope down to 0 at the feather's
 * end, by the distance from the region (Euclidean, in as many steps as the feather has pixels).
 *
 * @param mask Shape (height, width), 0 or 1.
 */
export function slopeMask(mask: Uint8Array, width: number, height: number, featherPx: number): Float32Array {
  const steps = Math.max(1, Math.ceil(featherPx));
  const slope = new Float32Array(mask.length);
  for (let step = 0; step < steps; step++) {
    const grown = growMask(mask, width, height, ((step + 0.5) * featherPx) / steps);
    for (let i = 0; i < slope.length; i++) slope[i] += grown[i] / steps;
  }
  return slope;
}

/**
 * Grows a mask: 1 wherever a pixel of it lies within `radius` (Euclidean, pixel centres), else 0. Exact, in two passes:
 * down the columns, then along the rows, after Meijster, Roerdink & Hesselink, "A general algorithm for computing
 * distance transforms in linear time" (2000); only a threshold is needed here, so the second pass joins spans.
 *
 * @param mask Shape (height, width), 0 or 1.
 */
export function growMask(mask: Uint8Array, width: number, height: number, radius: number): Uint8Array {
  if (radius < 1) return mask.slice();
  const grown = new Uint8Array(width * height);
  const rowRadius = Math.floor(radius);
  // For each distance in rows the half width of the disc.
  const halves = Array.from({ length: rowRadius + 1 }, (_, dy) =>
    Math.floor(Math.sqrt(radius * radius - dy * dy)),
  );
  // Distance in rows to the nearest pixel of the mask in the same column, above or below.
  const rows = new Int32Array(width * height);
  const far = rowRadius + width + height;
  for (let x = 0; x < width; x++) {
    let since = far;
    for (let y = 0; y < height; y++) {
      since = mask[y * width + x] ? 0 : since + 1;
      rows[y * width + x] = since;
    }
    since = far;
    for (let y = height - 1; y >= 0; y--) {
      since = mask[y * width + x] ? 0 : since + 1;
      if (since < rows[y * width + x]) rows[y * width + x] = since;
    }
  }
  // Spans opened less spans closed before each column.
  const change = new Int32Array(width + 1);
  for (let y = 0; y < height; y++) {
    const start = y * width;
    change.fill(0);
    for (let x = 0; x < width; x++) {
      const away = rows[start + x];
      if (away > rowRadius) continue;
      change[Math.max(0, x - halves[away])]++;
      change[Math.min(width, x + halves[away] + 1)]--;
    }
    for (let x = 0, open = 0; x < width; x++) {
      open += change[x];
      if (open > 0) grown[start + x] = 1;
    }
  }
  return grown;
}

/**
 * Effect of a blur disc of radius w on a wave of k radians per pixel, by z = k w. Its contrast is
 *
 *   M(z) = 2 J1(z) / z = sum over n of (-1)^n (z / 2)^(2 n) / (n! (n + 1)!)
 *
 * (M. Abramowitz & I. Stegun 1964, 9.1.10). Where w grows by g per pixel, a point a of the lens sees at x what lies at
 * x - a w / (1 + a g): the mean over the lens is, to first order in g, the wave M exp(i k x) shifted by
 *
 *   g w A(z) / M(z),  A = -M'' the mean of a^2 exp(-i z a).
 *
 * Between two frames w changes by dw, and so the shift by  g dw d/dz (z A / M). The model of a tile
 * estimates the gradient from the fading of the contrast across the tile, as  -g dw d/dz (M' / M).
 */

const stepsPerUnit = 100;

/** The z from which on M falls ever slower, at M'' = 0: to that a wave's energy tells its blur. */
export const maxBlur = inflection();

interface Row {
  energy: number;
  share: number;
}

const table: Row[] = Array.from({ length: Math.round(maxBlur * stepsPerUnit) + 1 }, (_, i) => {
  const z = i / stepsPerUnit;
  const h = 1e-3;
  const shift = (at: number) => (-at * contrast(at, 2)) / contrast(at, 0);
  const fading = (at: number) => -contrast(at, 1) / contrast(at, 0);
  const slope = (f: (at: number) => number) => (f(z + h) - f(z - h)) / (2 * h);
  return { energy: contrast(z, 0) ** 2, share: slope(shift) / slope(fading) };
});

/** M(z) or a derivative of it (`order` 0 to 2) by its series. */
function contrast(z: number, order: number): number {
  let sum = 0;
  let term = 1;
  for (let n = 0; n < 20; n++) {
    // term = (-1)^n / (4^n n! (n + 1)!), the factor of z^(2 n).
    let factor = term;
    for (let d = 0; d < order; d++) factor *= 2 * n - d;
    if (factor !== 0) sum += factor * z ** (2 * n - order);
    term /= -4 * (n + 1) * (n + 2);
  }
  return sum;
}

function inflection(): number {
  let z = 0;
  while (contrast(z + 1 / stepsPerUnit, 2) < 0) z += 1 / stepsPerUnit;
  return z;
}

/** The z at which the energy of a wave has fallen to `share` (0 to 1) of the sharp one's, at most `maxBlur`. */
export function blurFrom(share: number): number {
  let low = 0;
  let high = table.length - 1;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (table[middle].energy > share) low = middle + 1;
    else high = middle;
  }
  return low / stepsPerUnit;
}

/**
 * The true shift by a gradient of defocus, as a share of the shift in the tile's model: 1 when sharp, decreasing with
 * blur.
 */
export function slopeShare(blur: number): number {
  return table[Math.round(Math.min(maxBlur, Math.max(0, blur)) * stepsPerUnit)].share;
}

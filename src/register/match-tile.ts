/**
 * The model of one Gauss-Newton step on a tile, with I the reference band and J the moving band read at the tile's
 * predicted position:
 *
 *   J = c I + p P + q Q + u Ix + v Iy,    P = x L + h Ix,  Q = y L + h Iy,  L = Ixx + Iyy
 *
 * with x, y from the tile's centre and differences of neighbouring pixels; the displacement is -(u, v) / c.
 *
 * The factor c absorbs local contrast: gain, and the softening of a defocused tile. P and Q absorb a gradient of the
 * defocus across the tile, as on a slanted surface. Let w be the radius of the blur at a point, (p, q) the gradient of
 * s = w^2 / 8, half the blur's variance along an axis, and a a point of the lens. The picture is the mean over a of I
 * at x' with x = x' + a w(x'), which for an even radiance is  I + div(s grad I) = I + s L + p Ix + q Iy  to second
 * order: h = 1. It resembles a shift of the order of p, of the same sign in every pair as long as the focus moves on,
 * so without P and Q every slant would accumulate a shift.
 *
 * The kernels `momentTiles` and `crossTiles` sum the products of these columns over a tile.
 *
 * The gradients are the reference's alone: its noise is not correlated with its own central difference, and the moving
 * frame's noise is independent, so noise slows convergence but does not bias the result.
 */

/**
 * Numbers kept per reference tile: the upper triangle of the 5 x 5 normal matrix of (c, p, q, u, v), then the sign
 * ratio of the tile's features: |sum I^3| / sum |I|^3, near 0 for step edges, 0.7 for a bright or dark hair.
 */
export const momentCount = 16;
/** Numbers per comparison: J times each of the five columns, and J J. */
export const crossCount = 6;

/** Result of one tile: displacement still to add in the moving band, its information, and the quality of the fit. */
export interface TileStep {
  dx: number;
  dy: number;
  /** Information (inverse covariance) of (dx, dy) for white noise, 1/px^2. */
  xx: number;
  xy: number;
  yy: number;
  /** Energy of the reference tile in the unit of the information: their ratio is a squared wavelength. */
  energy: number;
  /** Gradient of the defocus, (p, q) / c: its apparent shift of the tile, pixels. */
  slopeX: number;
  slopeY: number;
  /** Share of the moving tile's energy that the reference explains, 0 to 1. */
  explained: number;
}

const columns = 5;
const system = new Float64Array(columns * (columns + 1));
const solution = new Float64Array(columns);

/**
 * Solves the tile's least squares by elimination in the order c, p, q, u, v; what remains of the last two rows is the
 * information about the displacement. Undefined when the tile has no match.
 */
export function solveTile(
  moments: Float64Array,
  at: number,
  cross: Float64Array,
  crossAt: number,
  count: number,
): TileStep | undefined {
  const jj = cross[crossAt + 5];
  if (!(moments[at] > 0) || !(jj > 0)) return undefined;
  const stride = columns + 1;
  for (let row = 0, m = at; row < columns; row++) {
    for (let col = row; col < columns; col++, m++) {
      system[row * stride + col] = moments[m];
      system[col * stride + row] = moments[m];
    }
    system[row * stride + columns] = cross[crossAt + row];
  }
  const gradientEnergy = moments[at + 12] + moments[at + 14];
  let fitted = 0;
  let [xx, xy, yy] = [0, 0, 0];
  for (let k = 0; k < columns; k++) {
    const pivot = system[k * stride + k];
    if (k >= 3 && !(pivot > 1e-3 * gradientEnergy)) return undefined;
    if (!(pivot > 0)) return undefined;
    if (k === 3) [xx, xy, yy] = [pivot, system[3 * stride + 4], system[4 * stride + 4]];
    fitted += system[k * stride + columns] ** 2 / pivot;
    for (let row = k + 1; row < columns; row++) {
      const factor = system[row * stride + k] / pivot;
      for (let col = k + 1; col <= columns; col++)
        system[row * stride + col] -= factor * system[k * stride + col];
    }
  }
  for (let k = columns - 1; k >= 0; k--) {
    let value = system[k * stride + columns];
    for (let col = k + 1; col < columns; col++) value -= system[k * stride + col] * solution[col];
    solution[k] = value / system[k * stride + k];
  }
  const [c, p, q, u, v] = solution;
  if (!(c > 0)) return undefined;
  const variance = Math.max((jj - fitted) / count, 1e-6 * (jj / count) + 1e-9);
  const weight = (c * c) / variance;
  return {
    dx: -u / c,
    dy: -v / c,
    xx: xx * weight,
    xy: xy * weight,
    yy: yy * weight,
    energy: moments[at] * weight,
    slopeX: p / c,
    slopeY: q / c,
    explained: fitted / jj,
  };
}

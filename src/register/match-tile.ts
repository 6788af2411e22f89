/**
 * The model of one Gauss-Newton step on a tile, with I the reference band and J the moving band read at the
 * place where the tile is believed to lie:
 *
 *   J = c I + p P + q Q + u Ix + v Iy,    P = x L + h Ix,  Q = y L + h Iy,  L = Ixx + Iyy
 *
 * with x, y from the tile's centre and differences of neighbouring pixels; the displacement is -(u, v) / c.
 *
 * The factor c takes up local contrast: gain, and the softening of a defocused tile. P and Q take up a slope of the
 * defocus across the tile, as a slanted surface has it. Let s, half the variance of the blur, have the slope p along
 * x. If every point spreads the same light evenly over its disc, the blurred picture is I + L(s I), and s I has the
 * Laplacian  s L + 2 p Ix: h = 2. If instead the mean over the aperture a is taken of I at x' = x - a w(x'), w the blur
 * at the point that is seen, as for a surface of even radiance, it is I + div(s grad I): h = 1. Either way the slope
 * looks like a shift of the order of p, of the same sign in every pair as long as the focus travels on, so without P
 * and Q every slant would drift.
 *
 * The gradients are the reference's alone: its noise is not correlated with its own central difference, and the
 * moving frame's noise is independent, so noise slows the step but does not bias where it ends.
 */

/** The h above, between the two: half of the small difference is left whichever holds. */
const slantFactor = 1.5;

/**
 * Numbers kept per reference tile: the upper triangle of the 5 x 5 normal matrix of (c, p, q, u, v), then how much of
 * one sign the tile's features are: |sum I^3| / sum |I|^3, near 0 for step edges, 0.7 for a bright or dark hair.
 */
export const momentCount = 16;
/** Numbers per comparison: J times each of the five columns, and J J. */
export const crossCount = 6;

/** Normal matrix of the reference tile with its top left pixel at (x0, y0), written at `moments[at ...]`. */
export function tileMoments(
  reference: Float32Array,
  width: number,
  x0: number,
  y0: number,
  size: number,
  moments: Float64Array,
  at: number,
): void {
  const half = (size - 1) / 2;
  let ii = 0;
  let ip = 0;
  let iq = 0;
  let ix = 0;
  let iy = 0;
  let pp = 0;
  let pq = 0;
  let px = 0;
  let py = 0;
  let qq = 0;
  let qx = 0;
  let qy = 0;
  let xx = 0;
  let xy = 0;
  let yy = 0;
  let cubes = 0;
  let absoluteCubes = 0;
  for (let row = 0; row < size; row++) {
    const y = row - half;
    let k = (y0 + row) * width + x0;
    for (let col = 0; col < size; col++, k++) {
      const i = reference[k];
      const left = reference[k - 1];
      const right = reference[k + 1];
      const up = reference[k - width];
      const down = reference[k + width];
      const gx = 0.5 * (right - left);
      const gy = 0.5 * (down - up);
      const laplacian = left + right + up + down - 4 * i;
      const p = (col - half) * laplacian + slantFactor * gx;
      const q = y * laplacian + slantFactor * gy;
      ii += i * i;
      ip += i * p;
      iq += i * q;
      ix += i * gx;
      iy += i * gy;
      pp += p * p;
      pq += p * q;
      px += p * gx;
      py += p * gy;
      qq += q * q;
      qx += q * gx;
      qy += q * gy;
      xx += gx * gx;
      xy += gx * gy;
      yy += gy * gy;
      const cube = i * i * i;
      cubes += cube;
      absoluteCubes += Math.abs(cube);
    }
  }
  moments[at] = ii;
  moments[at + 1] = ip;
  moments[at + 2] = iq;
  moments[at + 3] = ix;
  moments[at + 4] = iy;
  moments[at + 5] = pp;
  moments[at + 6] = pq;
  moments[at + 7] = px;
  moments[at + 8] = py;
  moments[at + 9] = qq;
  moments[at + 10] = qx;
  moments[at + 11] = qy;
  moments[at + 12] = xx;
  moments[at + 13] = xy;
  moments[at + 14] = yy;
  moments[at + 15] = Math.abs(cubes) / (absoluteCubes + 1e-12);
}

/** Where a reference tile lies, and where it lands in the moving band. */
export interface TilePlacement {
  x0: number;
  y0: number;
  size: number;
  /** Position in the moving band of the tile's pixel (x0, y0), if the tile's centre is carried exactly. */
  movingX: number;
  movingY: number;
}

const longestTile = 32;
/** Rows of the moving tile after the horizontal filter, three more than the tile has. */
const filtered = new Float64Array(longestTile * (longestTile + 3));

/**
 * Sums over one tile of J times (I, P, Q, Ix, Iy) and of J J. J is read by Catmull-Rom interpolation. The caller
 * keeps the tile one pixel, and its placement two, inside the planes. This is registration's hottest loop.
 *
 * Within the tile J is only shifted: scale and roll between near frames move its edges against its centre by a
 * few hundredths of a pixel, to opposite sides, and with one fraction for all its pixels the filter is separable.
 */
export function tileCross(
  reference: Float32Array,
  moving: Float32Array,
  width: number,
  place: TilePlacement,
  cross: Float64Array,
): void {
  const { size } = place;
  // Coordinates are positive, so truncation is floor.
  const x = place.movingX | 0;
  const y = place.movingY | 0;
  const s = place.movingX - x;
  const t = place.movingY - y;
  const a0 = 0.5 * s * (2 * s - 1 - s * s);
  const a2 = 0.5 * s * (1 + 4 * s - 3 * s * s);
  const a3 = 0.5 * s * s * (s - 1);
  const a1 = 1 - a0 - a2 - a3;
  const b0 = 0.5 * t * (2 * t - 1 - t * t);
  const b2 = 0.5 * t * (1 + 4 * t - 3 * t * t);
  const b3 = 0.5 * t * t * (t - 1);
  const b1 = 1 - b0 - b2 - b3;
  for (let row = 0, f = 0; row < size + 3; row++) {
    let m = (y + row - 1) * width + x;
    for (const end = f + size; f < end; f++, m++) {
      filtered[f] = a0 * moving[m - 1] + a1 * moving[m] + a2 * moving[m + 1] + a3 * moving[m + 2];
    }
  }
  const half = (size - 1) / 2;
  let ji = 0;
  let xjl = 0;
  let yjl = 0;
  let jgx = 0;
  let jgy = 0;
  let jj = 0;
  for (let row = 0, f = 0; row < size; row++) {
    let p = (place.y0 + row) * width + place.x0;
    let rowJl = 0;
    for (let column = -half; column <= half; column++, p++, f++) {
      const j =
        b0 * filtered[f] +
        b1 * filtered[f + size] +
        b2 * filtered[f + 2 * size] +
        b3 * filtered[f + 3 * size];
      const i = reference[p];
      const left = reference[p - 1];
      const right = reference[p + 1];
      const up = reference[p - width];
      const down = reference[p + width];
      const jl = j * (left + right + up + down - 4 * i);
      ji += j * i;
      rowJl += jl;
      xjl += column * jl;
      jgx += j * (right - left);
      jgy += j * (down - up);
      jj += j * j;
    }
    yjl += (row - half) * rowJl;
  }
  cross[0] = ji;
  cross[1] = xjl + 0.5 * slantFactor * jgx;
  cross[2] = yjl + 0.5 * slantFactor * jgy;
  cross[3] = 0.5 * jgx;
  cross[4] = 0.5 * jgy;
  cross[5] = jj;
}

/** What one tile says: displacement still to add in the moving band, its information, and how well it fits. */
export interface TileStep {
  dx: number;
  dy: number;
  /** Information (inverse covariance) of (dx, dy) for white noise, 1/px^2. */
  xx: number;
  xy: number;
  yy: number;
  /** The factor c: local contrast of the moving tile over the reference's. */
  contrast: number;
  /** Energy of the reference tile in the unit of the information: its ratio to that is a wavelength squared. */
  energy: number;
  /** Share of the moving tile's energy that the reference explains, 0 to 1. */
  explained: number;
}

const columns = 5;
const system = new Float64Array(columns * (columns + 1));
const solution = new Float64Array(columns);

/**
 * Solves the tile's least squares by elimination in the order c, p, q, u, v; what is left of the last two rows is the
 * information about the displacement. Returns false when the tile has no match.
 */
export function solveTile(
  moments: Float64Array,
  at: number,
  cross: Float64Array,
  count: number,
  out: TileStep,
): boolean {
  const jj = cross[5];
  if (!(moments[at] > 0) || !(jj > 0)) return false;
  const stride = columns + 1;
  for (let row = 0, m = at; row < columns; row++) {
    for (let col = row; col < columns; col++, m++) {
      system[row * stride + col] = moments[m];
      system[col * stride + row] = moments[m];
    }
    system[row * stride + columns] = cross[row];
  }
  const gradientEnergy = moments[at + 12] + moments[at + 14];
  let fitted = 0;
  for (let k = 0; k < columns; k++) {
    const pivot = system[k * stride + k];
    if (k >= 3 && !(pivot > 1e-3 * gradientEnergy)) return false;
    if (!(pivot > 0)) return false;
    if (k === 3) {
      out.xx = pivot;
      out.xy = system[3 * stride + 4];
      out.yy = system[4 * stride + 4];
    }
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
  const c = solution[0];
  const u = solution[3];
  const v = solution[4];
  if (!(c > 0.02)) return false;
  out.explained = fitted / jj;
  const variance = Math.max((jj - fitted) / count, 1e-6 * (jj / count) + 1e-9);
  const weight = (c * c) / variance;
  out.contrast = c;
  out.dx = -u / c;
  out.dy = -v / c;
  out.energy = moments[at] * weight;
  out.xx *= weight;
  out.xy *= weight;
  out.yy *= weight;
  return true;
}

// Fits of a motion to tiles: see fit-motion.ts in src/register, where the model stands. A column is what is
// known of each tile, float32, columns `columnBytes` apart in this order:
//   u, v, foundU, foundV, xx, xy, yy, weight, and the tile's shared errors in position and in scale.
// Sums are taken tile by tile in double precision.

// @ts-ignore: decorator
@inline
function columnOf(tile: usize, columnBytes: usize, column: usize): f64 {
  return f64(load<f32>(tile + column * columnBytes));
}

/** Unknowns of a fit: a, b times the radius, x, y; then the same of the common-mode motion. */
const all: usize = 8;

// @ts-ignore: decorator
@inline
function unknown(fit: usize, k: usize): f64 {
  return load<f64>(fit + (k << 3));
}

/** How far a tile lies from the fit in x: foundU less where the motion with its own share of the common-mode one puts it. */
// @ts-ignore: decorator
@inline
function distanceX(t: usize, columnBytes: usize, start: usize, fit: usize, radiusPx: f64): f64 {
  const h = columnOf(t, columnBytes, 8);
  const a = unknown(start, 0) + (unknown(fit, 0) + columnOf(t, columnBytes, 9) * unknown(fit, 4)) / radiusPx;
  const b = unknown(start, 1) + (unknown(fit, 1) + h * unknown(fit, 5)) / radiusPx;
  return columnOf(t, columnBytes, 2) -
    (a * columnOf(t, columnBytes, 0) - b * columnOf(t, columnBytes, 1) + unknown(start, 2) + unknown(fit, 2) + h * unknown(fit, 6));
}

/** The same in y. */
// @ts-ignore: decorator
@inline
function distanceY(t: usize, columnBytes: usize, start: usize, fit: usize, radiusPx: f64): f64 {
  const h = columnOf(t, columnBytes, 8);
  const a = unknown(start, 0) + (unknown(fit, 0) + columnOf(t, columnBytes, 9) * unknown(fit, 4)) / radiusPx;
  const b = unknown(start, 1) + (unknown(fit, 1) + h * unknown(fit, 5)) / radiusPx;
  return columnOf(t, columnBytes, 3) -
    (b * columnOf(t, columnBytes, 0) + a * columnOf(t, columnBytes, 1) + unknown(start, 3) + unknown(fit, 3) + h * unknown(fit, 7));
}

/**
 * Distance of each tile from the fit in its own standard deviations, f64 at `spread`:  sqrt(xx ex^2 + 2 xy ex ey + yy ey^2).
 * start: f64 a, b, x, y of the motion; fit: f64, the eight unknowns.
 */
export function fitDistances(
  tiles: usize, columnBytes: usize, count: i32, start: usize, fit: usize, radiusPx: f64, spread: usize,
): void {
  let t = tiles;
  for (let o = spread, end = spread + (usize(count) << 3); o < end; o += 8, t += 4) {
    const x = distanceX(t, columnBytes, start, fit, radiusPx);
    const y = distanceY(t, columnBytes, start, fit, radiusPx);
    const xx = columnOf(t, columnBytes, 4);
    const xy = columnOf(t, columnBytes, 5);
    const yy = columnOf(t, columnBytes, 6);
    store<f64>(o, sqrt(max(0, xx * x * x + 2 * xy * x * y + yy * y * y)));
  }
}

/**
 * Normal equations of a step from the fit: the upper triangle of `normal`, f64 (8, 8), and `right`, f64 (8). With the columns
 *   a -> (p, q), b -> (-q, p), x -> (1, 0), y -> (0, 1),   p = u / radius, q = v / radius,
 * for the own unknowns, and these times s for the others, where s is the shared error in scale for a, and that in position for the rest.
 */
export function fitEquations(
  tiles: usize, columnBytes: usize, count: i32, start: usize, fit: usize, radiusPx: f64, normal: usize, right: usize,
): void {
  let n00: f64 = 0, n01: f64 = 0, n02: f64 = 0, n03: f64 = 0, n11: f64 = 0, n12: f64 = 0, n13: f64 = 0, n22: f64 = 0;
  let n23: f64 = 0, n33: f64 = 0;
  let m00: f64 = 0, m01: f64 = 0, m02: f64 = 0, m03: f64 = 0, m10: f64 = 0, m11: f64 = 0, m12: f64 = 0, m13: f64 = 0;
  let m20: f64 = 0, m21: f64 = 0, m22: f64 = 0, m23: f64 = 0, m30: f64 = 0, m31: f64 = 0, m32: f64 = 0, m33: f64 = 0;
  let c00: f64 = 0, c01: f64 = 0, c02: f64 = 0, c03: f64 = 0, c11: f64 = 0, c12: f64 = 0, c13: f64 = 0, c22: f64 = 0;
  let c23: f64 = 0, c33: f64 = 0;
  let r0: f64 = 0, r1: f64 = 0, r2: f64 = 0, r3: f64 = 0, s0: f64 = 0, s1: f64 = 0, s2: f64 = 0, s3: f64 = 0;
  let t = tiles;
  for (const end = tiles + (usize(count) << 2); t < end; t += 4) {
    const w = columnOf(t, columnBytes, 7);
    if (w <= 0) continue;
    const ex = distanceX(t, columnBytes, start, fit, radiusPx);
    const ey = distanceY(t, columnBytes, start, fit, radiusPx);
    const p = columnOf(t, columnBytes, 0) / radiusPx;
    const q = columnOf(t, columnBytes, 1) / radiusPx;
    const xx = w * columnOf(t, columnBytes, 4);
    const xy = w * columnOf(t, columnBytes, 5);
    const yy = w * columnOf(t, columnBytes, 6);
    const ax = xx * p + xy * q;
    const ay = xy * p + yy * q;
    const bx = -xx * q + xy * p;
    const by = -xy * q + yy * p;
    const fx = xx * ex + xy * ey;
    const fy = xy * ex + yy * ey;
    const v00 = p * ax + q * ay;
    const v01 = p * bx + q * by;
    const v11 = -q * bx + p * by;
    const f0 = p * fx + q * fy;
    const f1 = -q * fx + p * fy;
    r0 += f0;
    r1 += f1;
    r2 += fx;
    r3 += fy;
    n00 += v00;
    n01 += v01;
    n02 += ax;
    n03 += ay;
    n11 += v11;
    n12 += bx;
    n13 += by;
    n22 += xx;
    n23 += xy;
    n33 += yy;
    const h = columnOf(t, columnBytes, 8);
    const s = columnOf(t, columnBytes, 9);
    if (h == 0 && s == 0) continue;
    const sh = s * h;
    const hh = h * h;
    s0 += s * f0;
    s1 += h * f1;
    s2 += h * fx;
    s3 += h * fy;
    m00 += s * v00;
    m01 += h * v01;
    m02 += h * ax;
    m03 += h * ay;
    m10 += s * v01;
    m11 += h * v11;
    m12 += h * bx;
    m13 += h * by;
    m20 += s * ax;
    m21 += h * bx;
    m22 += h * xx;
    m23 += h * xy;
    m30 += s * ay;
    m31 += h * by;
    m32 += h * xy;
    m33 += h * yy;
    c00 += s * s * v00;
    c01 += sh * v01;
    c02 += sh * ax;
    c03 += sh * ay;
    c11 += hh * v11;
    c12 += hh * bx;
    c13 += hh * by;
    c22 += hh * xx;
    c23 += hh * xy;
    c33 += hh * yy;
  }
  putRow(normal, 0, n00, n01, n02, n03, m00, m01, m02, m03);
  putRow(normal, 1, 0, n11, n12, n13, m10, m11, m12, m13);
  putRow(normal, 2, 0, 0, n22, n23, m20, m21, m22, m23);
  putRow(normal, 3, 0, 0, 0, n33, m30, m31, m32, m33);
  putRow(normal, 4, 0, 0, 0, 0, c00, c01, c02, c03);
  putRow(normal, 5, 0, 0, 0, 0, 0, c11, c12, c13);
  putRow(normal, 6, 0, 0, 0, 0, 0, 0, c22, c23);
  putRow(normal, 7, 0, 0, 0, 0, 0, 0, 0, c33);
  putRow(right, 0, r0, r1, r2, r3, s0, s1, s2, s3);
}

function putRow(out: usize, row: usize, a: f64, b: f64, c: f64, d: f64, e: f64, f: f64, g: f64, h: f64): void {
  const o = out + ((row * all) << 3);
  store<f64>(o, a);
  store<f64>(o, b, 8);
  store<f64>(o, c, 16);
  store<f64>(o, d, 24);
  store<f64>(o, e, 32);
  store<f64>(o, f, 40);
  store<f64>(o, g, 48);
  store<f64>(o, h, 56);
}

/**
 * Pairs of light of two frames: of each block of one, in the grid of (height, width), and of the other read at the same place by
 * bilinear interpolation:
 *   x = ((a u - b v + moveX) + halfX) / pitch - 1/2,   u = (column + 1/2) pitch - halfX;   y, v alike with b u + a v,
 * f64 at `source` and `target`. Returns how many: blocks that lie outside, are clipped (NaN) or dark in either are left out.
 */
export function lightPairs(
  one: usize, other: usize, width: i32, height: i32, pitch: f64, halfX: f64, halfY: f64, a: f64, b: f64,
  moveX: f64, moveY: f64, source: usize, target: usize,
): i32 {
  const rowBytes = usize(width) << 2;
  let count: usize = 0;
  let p = one;
  for (let row = 0; row < height; row++) {
    const v = (f64(row) + 0.5) * pitch - halfY;
    for (let column = 0; column < width; column++, p += 4) {
      const u = (f64(column) + 0.5) * pitch - halfX;
      const x = (a * u - b * v + moveX + halfX) / pitch - 0.5;
      const y = (b * u + a * v + moveY + halfY) / pitch - 0.5;
      const left = i32(floor(x));
      const top = i32(floor(y));
      if (left < 0 || top < 0 || left + 1 >= width || top + 1 >= height) continue;
      const i = other + usize(top) * rowBytes + (usize(left) << 2);
      const s = x - f64(left);
      const t = y - f64(top);
      const value =
        (1 - t) * ((1 - s) * f64(load<f32>(i)) + s * f64(load<f32>(i, 4))) +
        t * ((1 - s) * f64(load<f32>(i + rowBytes)) + s * f64(load<f32>(i + rowBytes, 4)));
      const own = f64(load<f32>(p));
      if (!(value + own > 0)) continue;
      store<f64>(source + (count << 3), own);
      store<f64>(target + (count << 3), value);
      count++;
    }
  }
  return i32(count);
}

/** The value that a sorted order would have at `target`, of f64 that are reordered (quickselect; C. A. R. Hoare 1961). */
function select(values: usize, count: i32, target: i32): f64 {
  let from = 0;
  let to = count - 1;
  while (from < to) {
    const pivot = load<f64>(values + (usize((from + to) >> 1) << 3));
    let low = from;
    let high = to;
    while (low <= high) {
      while (load<f64>(values + (usize(low) << 3)) < pivot) low++;
      while (load<f64>(values + (usize(high) << 3)) > pivot) high--;
      if (low <= high) {
        const swapped = load<f64>(values + (usize(low) << 3));
        store<f64>(values + (usize(low++) << 3), load<f64>(values + (usize(high) << 3)));
        store<f64>(values + (usize(high--) << 3), swapped);
      }
    }
    if (target <= high) to = high;
    else if (target >= low) from = low;
    else break;
  }
  return load<f64>(values + (usize(target) << 3));
}

/**
 * The factor of  target = factor * source  over `count` f64 each, by Tukey's biweight about it in `rounds` rounds, f64 at `out`, and
 * its standard error after it. A deviation counts for nothing from `limit` standard deviations on, which are
 * `sigmaPerMad` times the median of all, and minSigma more. scratch: room for `count` f64.
 */
export function robustRatio(
  source: usize, target: usize, count: i32, rounds: i32, limit: f64, sigmaPerMad: f64, minSigma: f64, scratch: usize,
  out: usize,
): void {
  const bytes = usize(count) << 3;
  let ofTarget: f64 = 0;
  let ofSource: f64 = 0;
  for (let i: usize = 0; i < bytes; i += 8) {
    ofTarget += load<f64>(target + i);
    ofSource += load<f64>(source + i);
  }
  let ratio = ofTarget / ofSource;
  let error: f64 = 1;
  for (let round = 0; round < rounds; round++) {
    for (let i: usize = 0; i < bytes; i += 8) {
      store<f64>(scratch + i, abs(load<f64>(target + i) - ratio * load<f64>(source + i)));
    }
    const sigma = sigmaPerMad * select(scratch, count, count >> 1) + minSigma;
    let cross: f64 = 0;
    let power: f64 = 0;
    let kept: f64 = 0;
    for (let i: usize = 0; i < bytes; i += 8) {
      const s = load<f64>(source + i);
      const own = load<f64>(target + i);
      const t = (own - ratio * s) / (limit * sigma);
      if (t <= -1 || t >= 1) continue;
      const rest = 1 - t * t;
      const w = rest * rest;
      // Weighted by 1, not by the source: sum(target) / sum(source) of what is kept.
      cross += w * own;
      power += w * s;
      kept += w;
    }
    ratio = cross / power;
    error = (sigma * sqrt(kept)) / power;
  }
  store<f64>(out, ratio);
  store<f64>(out, error, 8);
}

/**
 * Mean light of one row of blocks of `side` pixels' side, f32 (channels, columns) at `out`, NaN where a sample that is read exceeds
 * `limit`: of every second row of the picture from `samples` on, every `sparse`-th pixel. table: f64, light by the upper 8 bits
 * of a sample. Rows of the picture have `width` pixels.
 */
export function blockLight(
  samples: usize, bits: i32, channels: i32, width: i32, columns: i32, side: i32, sparse: i32, limit: f64, table: usize,
  out: usize,
): void {
  const bytes = usize(bits >> 3);
  const rowBytes = usize(width * channels) * bytes;
  const blockBytes = usize(side * channels) * bytes;
  const stepBytes = usize(sparse * channels) * bytes;
  const perRow = (side + sparse - 1) / sparse;
  const rows = (side + 1) / 2;
  for (let column = 0; column < columns; column++) {
    const block = samples + usize(column) * blockBytes;
    let isClipped = false;
    for (let c = 0; c < channels; c++) {
      let total: f64 = 0;
      for (let y = 0; y < rows; y++) {
        let sum: f64 = 0;
        let p = block + usize(2 * y) * rowBytes + usize(c) * bytes;
        const end = block + usize(2 * y) * rowBytes + blockBytes;
        for (; p < end; p += stepBytes) {
          const sample = bits == 8 ? i32(load<u8>(p)) : i32(load<u16>(p));
          sum += load<f64>(table + (usize(sample >> (bits - 8)) << 3));
          if (f64(sample) > limit) isClipped = true;
        }
        total += sum;
      }
      store<f32>(out + (usize(c * columns + column) << 2), f32(total / f64(rows * perRow)));
    }
    if (!isClipped) continue;
    for (let c = 0; c < channels; c++) store<f32>(out + (usize(c * columns + column) << 2), NaN);
  }
}

// Registration's view of a frame: luminance in linear light, its band-passed pyramid, and sums over tiles of it.
// Planes as in common.ts; values are 0..255 in linear light.
import { fillEnds } from './common';

/**
 * Rows from..to-1 of the luminance of interleaved samples of 8 or 16 bits:
 *   out = red[r] + green[g] + blue[b],  or grey[v] of one channel.
 * tables: 2^bits floats for each channel, one after the other.
 */
export function lightStrip(
  source: usize, bits: i32, channels: i32, width: i32, from: i32, to: i32, tables: usize, out: usize, stride: i32,
): void {
  if (bits == 8) lightRows<u8>(source, channels, width, from, to, tables, out, stride);
  else lightRows<u16>(source, channels, width, from, to, tables, out, stride);
}

// @ts-ignore: decorator
@inline
function lightRows<T>(
  source: usize, channels: i32, width: i32, from: i32, to: i32, tables: usize, out: usize, stride: i32,
): void {
  const size = sizeof<T>();
  const green = tables + (usize(4) << (8 * size));
  const blue = green + (usize(4) << (8 * size));
  for (let y = from; y < to; y++) {
    let p = source + usize(y) * usize(width) * usize(channels) * size;
    let o = out + (usize(y) * usize(stride) << 2);
    const end = o + (usize(width) << 2);
    if (channels == 3) {
      for (; o < end; o += 4, p += 3 * size) {
        store<f32>(o, lightAt<T>(tables, p) + lightAt<T>(green, p + size) + lightAt<T>(blue, p + 2 * size));
      }
    } else {
      for (; o < end; o += 4, p += size) store<f32>(o, lightAt<T>(tables, p));
    }
  }
}

// @ts-ignore: decorator
@inline
function lightAt<T>(table: usize, sample: usize): f32 {
  return load<f32>(table + (usize(load<T>(sample)) << 2));
}

/**
 * Pulls pixels of rows from..to-1 that leave the range of their eight neighbours by more than `threshold` back to its
 * end, in place. Border pixels stay.
 */
export function clampStrip(
  luma: usize, stride: i32, width: i32, height: i32, from: i32, to: i32, threshold: f32,
): void {
  const rowBytes = usize(stride) << 2;
  const limit = f32x4.splat(threshold);
  for (let y = max(1, from); y < min(to, height - 1); y++) {
    const row = luma + usize(y) * rowBytes;
    for (let x = 1; x < width - 1; x += 4) {
      const p = row + (usize(x) << 2);
      const here = v128.load(p);
      const left = v128.load(p - 4);
      const right = v128.load(p + 4);
      // Nearly every pixel fails one of these two cheap comparisons.
      const high = v128.gt<f32>(here, v128.add<f32>(v128.pmax<f32>(left, right), limit));
      const low = v128.lt<f32>(here, v128.sub<f32>(v128.pmin<f32>(left, right), limit));
      if (!v128.any_true(v128.or(high, low))) continue;
      for (let i = x; i < min(x + 4, width - 1); i++) clampPixel(row + (usize(i) << 2), rowBytes, threshold);
    }
  }
}

function clampPixel(p: usize, rowBytes: usize, threshold: f32): void {
  const up = p - rowBytes;
  const down = p + rowBytes;
  const a = load<f32>(p - 4);
  const b = load<f32>(p + 4);
  const c = load<f32>(up - 4);
  const d = load<f32>(up);
  const e = load<f32>(up + 4);
  const f = load<f32>(down - 4);
  const g = load<f32>(down);
  const h = load<f32>(down + 4);
  const highest = max(max(max(a, b), max(c, d)), max(max(e, f), max(g, h)));
  const lowest = min(min(min(a, b), min(c, d)), min(min(e, f), min(g, h)));
  const value = load<f32>(p);
  if (value > highest + threshold) store<f32>(p, highest);
  else if (value < lowest - threshold) store<f32>(p, lowest);
}

/** Rows from..to-1 of luma smoothed by [1 2 1]/4 in x and y, borders as those of `bandStrip`. scratch: a row. */
export function softenStrip(
  luma: usize, lumaStride: i32, out: usize, stride: i32, width: i32, height: i32, from: i32, to: i32, scratch: usize,
): void {
  for (let y = from; y < to; y++) softenRow(luma, lumaStride, width, height, y, scratch, out + (usize(y * stride) << 2));
}

/**
 * Rows from..to-1 of one level of the band pyramid:
 *   smooth = [1 2 1]/4 of luma in x and y,   band = smooth - [1 0 2 0 1]/4 of smooth in x and y,
 *   next(i, j) = mean of smooth(2 i .. 2 i + 1, 2 j .. 2 j + 1)   (0: there is no next level),
 *   energy = mean of band^2 over each tile of `tile` pixels' side (a multiple of 4), tilesX to the row.
 * Columns are mirrored at the borders, rows repeat the last. `from` is even and a multiple of the tile, and so is
 * `to` unless it is the height. scratch: 17 rows of `scratchStride` floats, addressed at the first one's pixel 0.
 */
export function bandStrip(
  luma: usize, lumaStride: i32, band: usize, stride: i32, width: i32, height: i32, from: i32, to: i32,
  next: usize, nextStride: i32, nextWidth: i32, nextHeight: i32,
  energy: usize, tile: i32, tilesX: i32, tilesY: i32, scratch: usize, scratchStride: i32,
): void {
  const rowBytes = usize(scratchStride) << 2;
  const temp = scratch;
  const smooth = temp + rowBytes;
  const wide = smooth + (rowBytes << 3);
  let made = max(0, from - 2);
  for (let y = from; y < to; y++) {
    for (const last = min(height - 1, y + 2); made <= last; made++) {
      const slot = usize(made & 7) * rowBytes;
      smoothRow(luma, lumaStride, width, height, made, temp, smooth + slot, wide + slot);
    }
    const here = smooth + usize(y & 7) * rowBytes;
    const middle = wide + usize(y & 7) * rowBytes;
    const above = wide + usize(max(0, y - 2) & 7) * rowBytes;
    const below = wide + usize(min(height - 1, y + 2) & 7) * rowBytes;
    const out = band + (usize(y) * usize(stride) << 2);
    for (let x = 0; x < width; x += 4) {
      const at = usize(x) << 2;
      v128.store(out + at, v128.sub<f32>(v128.load(here + at), halfAndQuarters(above + at, middle + at, below + at)));
    }
    const tileRow = y / tile;
    if (tileRow < tilesY) addEnergies(out, energy + (usize(tileRow * tilesX) << 2), tile, tilesX, y % tile == 0);
    if (next != 0 && (y & 1) == 1 && y >> 1 < nextHeight) {
      const before = smooth + usize((y - 1) & 7) * rowBytes;
      halveRows(before, here, next + (usize(y >> 1) * usize(nextStride) << 2), nextWidth);
    }
  }
}

/** Row s of smooth, and the same blurred along x by [1 0 2 0 1]/4. */
// @ts-ignore: decorator
@inline
function smoothRow(
  luma: usize, stride: i32, width: i32, height: i32, s: i32, temp: usize, smooth: usize, wide: usize,
): void {
  softenRow(luma, stride, width, height, s, temp, smooth);
  for (let at: usize = 0; at < usize(width) << 2; at += 16) {
    v128.store(wide + at, halfAndQuarters(smooth + at - 8, smooth + at, smooth + at + 8));
  }
}

/** Row s of luma smoothed by [1 2 1]/4 in x and y, row ends included. */
// @ts-ignore: decorator
@inline
function softenRow(luma: usize, stride: i32, width: i32, height: i32, s: i32, temp: usize, smooth: usize): void {
  const rowBytes = usize(stride) << 2;
  const here = luma + usize(s) * rowBytes;
  const above = s > 0 ? here - rowBytes : here;
  const below = s < height - 1 ? here + rowBytes : here;
  const rowEnd = usize(width) << 2;
  for (let at: usize = 0; at < rowEnd; at += 16) {
    v128.store(temp + at, halfAndQuarters(above + at, here + at, below + at));
  }
  fillEnds(temp, width);
  for (let at: usize = 0; at < rowEnd; at += 16) {
    v128.store(smooth + at, halfAndQuarters(temp + at - 4, temp + at, temp + at + 4));
  }
  fillEnds(smooth, width);
}

/** [1 2 1]/4 of four pixels at three addresses. */
// @ts-ignore: decorator
@inline
function halfAndQuarters(before: usize, here: usize, after: usize): v128 {
  const around = v128.mul<f32>(v128.add<f32>(v128.load(before), v128.load(after)), f32x4.splat(0.25));
  return v128.add<f32>(v128.mul<f32>(v128.load(here), f32x4.splat(0.5)), around);
}

// @ts-ignore: decorator
@inline
function addEnergies(row: usize, energy: usize, tile: i32, tilesX: i32, first: bool): void {
  const scale: f32 = 1.0 / f32(tile * tile);
  let p = row;
  for (let tx = 0; tx < tilesX; tx++) {
    let sum = f32x4.splat(0);
    for (const end = p + (usize(tile) << 2); p < end; p += 16) {
      const v = v128.load(p);
      sum = v128.add<f32>(sum, v128.mul<f32>(v, v));
    }
    const at = energy + (usize(tx) << 2);
    store<f32>(at, (first ? <f32>0 : load<f32>(at)) + scale * sumOf(sum));
  }
}

// @ts-ignore: decorator
@inline
function sumOf(v: v128): f32 {
  return (
    f32x4.extract_lane(v, 0) + f32x4.extract_lane(v, 1) + (f32x4.extract_lane(v, 2) + f32x4.extract_lane(v, 3))
  );
}

// @ts-ignore: decorator
@inline
function halveRows(upper: usize, lower: usize, out: usize, outWidth: i32): void {
  const quarter = f32x4.splat(0.25);
  for (let x = 0; x < outWidth; x += 4) {
    const at = usize(x) << 3;
    const a = v128.add<f32>(v128.load(upper + at), v128.load(lower + at));
    const b = v128.add<f32>(v128.load(upper + at, 16), v128.load(lower + at, 16));
    const even = v128.shuffle<f32>(a, b, 0, 2, 4, 6);
    const odd = v128.shuffle<f32>(a, b, 1, 3, 5, 7);
    v128.store(out + (usize(x) << 2), v128.mul<f32>(v128.add<f32>(even, odd), quarter));
  }
}

/**
 * The normal matrix of a tile as a reference; the model and its columns I, P, Q, Ix, Iy are in match-tile.ts.
 * Upper triangle row by row, then |sum I^3| / sum |I|^3: 16 doubles at `out`. Reads one pixel around the tile.
 * size: a multiple of 4.
 */
function tileMoments(
  band: usize, stride: i32, x0: i32, y0: i32, size: i32, slant: f32, out: usize,
): void {
  const rowBytes = usize(stride) << 2;
  const middle: f32 = f32(size - 1) * 0.5;
  const zero = f32x4.splat(0);
  const half = f32x4.splat(0.5);
  const four = f32x4.splat(4);
  const slants = f32x4.splat(slant);
  let ii = zero;
  let ip = zero;
  let iq = zero;
  let ix = zero;
  let iy = zero;
  let pp = zero;
  let pq = zero;
  let px = zero;
  let py = zero;
  let qq = zero;
  let qx = zero;
  let qy = zero;
  let xx = zero;
  let xy = zero;
  let yy = zero;
  let cubes = zero;
  let absoluteCubes = zero;
  for (let row = 0; row < size; row++) {
    const y = f32x4.splat(f32(row) - middle);
    let x = f32x4(-middle, 1 - middle, 2 - middle, 3 - middle);
    let p = band + usize(y0 + row) * rowBytes + (usize(x0) << 2);
    for (const end = p + (usize(size) << 2); p < end; p += 16) {
      const i = v128.load(p);
      const left = v128.load(p - 4);
      const right = v128.load(p + 4);
      const up = v128.load(p - rowBytes);
      const down = v128.load(p + rowBytes);
      const gx = v128.mul<f32>(half, v128.sub<f32>(right, left));
      const gy = v128.mul<f32>(half, v128.sub<f32>(down, up));
      const around = v128.add<f32>(v128.add<f32>(left, right), v128.add<f32>(up, down));
      const laplacian = v128.sub<f32>(around, v128.mul<f32>(four, i));
      const u = v128.add<f32>(v128.mul<f32>(x, laplacian), v128.mul<f32>(slants, gx));
      const v = v128.add<f32>(v128.mul<f32>(y, laplacian), v128.mul<f32>(slants, gy));
      const square = v128.mul<f32>(i, i);
      ii = v128.add<f32>(ii, square);
      ip = v128.add<f32>(ip, v128.mul<f32>(i, u));
      iq = v128.add<f32>(iq, v128.mul<f32>(i, v));
      ix = v128.add<f32>(ix, v128.mul<f32>(i, gx));
      iy = v128.add<f32>(iy, v128.mul<f32>(i, gy));
      pp = v128.add<f32>(pp, v128.mul<f32>(u, u));
      pq = v128.add<f32>(pq, v128.mul<f32>(u, v));
      px = v128.add<f32>(px, v128.mul<f32>(u, gx));
      py = v128.add<f32>(py, v128.mul<f32>(u, gy));
      qq = v128.add<f32>(qq, v128.mul<f32>(v, v));
      qx = v128.add<f32>(qx, v128.mul<f32>(v, gx));
      qy = v128.add<f32>(qy, v128.mul<f32>(v, gy));
      xx = v128.add<f32>(xx, v128.mul<f32>(gx, gx));
      xy = v128.add<f32>(xy, v128.mul<f32>(gx, gy));
      yy = v128.add<f32>(yy, v128.mul<f32>(gy, gy));
      const cube = v128.mul<f32>(square, i);
      cubes = v128.add<f32>(cubes, cube);
      absoluteCubes = v128.add<f32>(absoluteCubes, v128.abs<f32>(cube));
      x = v128.add<f32>(x, four);
    }
  }
  store<f64>(out, f64(sumOf(ii)));
  store<f64>(out, f64(sumOf(ip)), 8);
  store<f64>(out, f64(sumOf(iq)), 16);
  store<f64>(out, f64(sumOf(ix)), 24);
  store<f64>(out, f64(sumOf(iy)), 32);
  store<f64>(out, f64(sumOf(pp)), 40);
  store<f64>(out, f64(sumOf(pq)), 48);
  store<f64>(out, f64(sumOf(px)), 56);
  store<f64>(out, f64(sumOf(py)), 64);
  store<f64>(out, f64(sumOf(qq)), 72);
  store<f64>(out, f64(sumOf(qx)), 80);
  store<f64>(out, f64(sumOf(qy)), 88);
  store<f64>(out, f64(sumOf(xx)), 96);
  store<f64>(out, f64(sumOf(xy)), 104);
  store<f64>(out, f64(sumOf(yy)), 112);
  store<f64>(out, f64(abs(sumOf(cubes))) / (f64(sumOf(absoluteCubes)) + 1e-12), 120);
}

/**
 * Sums over a tile of J times (I, P, Q, Ix, Iy) and of J J: 6 doubles at `out`. I is the reference at (x0, y0); J the
 * moving band read at (movingX, movingY) for that pixel, by the cubic convolution of Keys (1981), a = -1/2, with one
 * fraction for the whole tile. Reads one pixel around the reference's tile and two around the moving one.
 * scratch: size * (size + 3) floats.
 */
function tileCross(
  reference: usize, moving: usize, stride: i32, x0: i32, y0: i32, size: i32, movingX: f64, movingY: f64,
  slant: f32, scratch: usize, out: usize,
): void {
  const rowBytes = usize(stride) << 2;
  const left = i32(movingX);
  const top = i32(movingY);
  const s = f32(movingX - f64(left));
  const t = f32(movingY - f64(top));
  const s0: f32 = 0.5 * s * (2 * s - 1 - s * s);
  const s2: f32 = 0.5 * s * (1 + 4 * s - 3 * s * s);
  const s3: f32 = 0.5 * s * s * (s - 1);
  const t0: f32 = 0.5 * t * (2 * t - 1 - t * t);
  const t2: f32 = 0.5 * t * (1 + 4 * t - 3 * t * t);
  const t3: f32 = 0.5 * t * t * (t - 1);
  const a0 = f32x4.splat(s0);
  const a1 = f32x4.splat(1 - s0 - s2 - s3);
  const a2 = f32x4.splat(s2);
  const a3 = f32x4.splat(s3);
  const b0 = f32x4.splat(t0);
  const b1 = f32x4.splat(1 - t0 - t2 - t3);
  const b2 = f32x4.splat(t2);
  const b3 = f32x4.splat(t3);
  const tileBytes = usize(size) << 2;
  let f = scratch;
  for (let row = 0; row < size + 3; row++) {
    let m = moving + usize(top + row - 1) * rowBytes + (usize(left) << 2);
    for (const end = f + tileBytes; f < end; f += 16, m += 16) {
      const near = v128.add<f32>(v128.mul<f32>(a1, v128.load(m)), v128.mul<f32>(a2, v128.load(m, 4)));
      const far = v128.add<f32>(v128.mul<f32>(a0, v128.load(m - 4)), v128.mul<f32>(a3, v128.load(m, 8)));
      v128.store(f, v128.add<f32>(near, far));
    }
  }
  const middle: f32 = f32(size - 1) * 0.5;
  const zero = f32x4.splat(0);
  const four = f32x4.splat(4);
  let ji = zero;
  let xjl = zero;
  let yjl = zero;
  let jgx = zero;
  let jgy = zero;
  let jj = zero;
  f = scratch;
  for (let row = 0; row < size; row++) {
    const y = f32x4.splat(f32(row) - middle);
    let x = f32x4(-middle, 1 - middle, 2 - middle, 3 - middle);
    let p = reference + usize(y0 + row) * rowBytes + (usize(x0) << 2);
    for (const end = f + tileBytes; f < end; f += 16, p += 16) {
      const g = f + tileBytes;
      const h = g + tileBytes;
      const near = v128.add<f32>(v128.mul<f32>(b1, v128.load(g)), v128.mul<f32>(b2, v128.load(h)));
      const far = v128.add<f32>(v128.mul<f32>(b0, v128.load(f)), v128.mul<f32>(b3, v128.load(h + tileBytes)));
      const j = v128.add<f32>(near, far);
      const i = v128.load(p);
      const before = v128.load(p - 4);
      const after = v128.load(p + 4);
      const up = v128.load(p - rowBytes);
      const down = v128.load(p + rowBytes);
      const around = v128.add<f32>(v128.add<f32>(before, after), v128.add<f32>(up, down));
      const jl = v128.mul<f32>(j, v128.sub<f32>(around, v128.mul<f32>(four, i)));
      ji = v128.add<f32>(ji, v128.mul<f32>(j, i));
      xjl = v128.add<f32>(xjl, v128.mul<f32>(x, jl));
      yjl = v128.add<f32>(yjl, v128.mul<f32>(y, jl));
      jgx = v128.add<f32>(jgx, v128.mul<f32>(j, v128.sub<f32>(after, before)));
      jgy = v128.add<f32>(jgy, v128.mul<f32>(j, v128.sub<f32>(down, up)));
      jj = v128.add<f32>(jj, v128.mul<f32>(j, j));
      x = v128.add<f32>(x, four);
    }
  }
  const gx: f32 = 0.5 * sumOf(jgx);
  const gy: f32 = 0.5 * sumOf(jgy);
  store<f64>(out, f64(sumOf(ji)));
  store<f64>(out, f64(sumOf(xjl) + slant * gx), 8);
  store<f64>(out, f64(sumOf(yjl) + slant * gy), 16);
  store<f64>(out, f64(gx), 24);
  store<f64>(out, f64(gy), 32);
  store<f64>(out, f64(sumOf(jj)), 40);
}

/** Bytes that say where a pair of tiles lies. */
const placeBytes: usize = 24;
/** Bytes of what `tileCross` sums of a tile, and of what `tileMoments` does. */
const crossBytes: usize = 48;
const momentBytes: usize = 128;

/**
 * `tileCross` of `count` tiles, 6 doubles each at `out`. places: i32 x0, y0 and f64 movingX, movingY of each; the position of the
 * pixel at (x0, y0).
 */
export function crossTiles(
  reference: usize, moving: usize, stride: i32, size: i32, slant: f32, places: usize, count: i32, scratch: usize, out: usize,
): void {
  let p = places;
  let o = out;
  for (let i = 0; i < count; i++, p += placeBytes, o += crossBytes) {
    const x0 = load<i32>(p);
    const y0 = load<i32>(p, 4);
    tileCross(reference, moving, stride, x0, y0, size, load<f64>(p, 8), load<f64>(p, 16), slant, scratch, o);
  }
}

/** `tileMoments` of `count` tiles: places: i32 x0, y0, and the number of the tile whose 16 doubles at `moments` they are. */
export function momentTiles(
  band: usize, stride: i32, size: i32, slant: f32, places: usize, count: i32, moments: usize,
): void {
  let p = places;
  for (let i = 0; i < count; i++, p += placeBytes) {
    const out = moments + usize(load<i32>(p, 8)) * momentBytes;
    tileMoments(band, stride, load<i32>(p), load<i32>(p, 4), size, slant, out);
  }
}

/**
 * Correlation of two planes (height, width) without ends, each value of one with the other's at (x + dx, y + dy), over the pixels
 * where both are, of every second row:  sum r m / sqrt(sum r^2 sum m^2 + 1e-12).
 */
export function correlateShift(one: usize, other: usize, width: i32, height: i32, dx: i32, dy: i32): f64 {
  const xFrom = max(0, -dx);
  const xTo = min(width, width - dx);
  let cross = f64x2.splat(0);
  let onePower = f64x2.splat(0);
  let otherPower = f64x2.splat(0);
  let crossRest: f64 = 0;
  let oneRest: f64 = 0;
  let otherRest: f64 = 0;
  for (let y = max(0, -dy); y < min(height, height - dy); y += 2) {
    let p = one + (usize(y * width + xFrom) << 2);
    let q = other + (usize((y + dy) * width + dx + xFrom) << 2);
    let x = xFrom;
    for (; x + 2 <= xTo; x += 2, p += 8, q += 8) {
      const r = f64x2.promote_low_f32x4(v128.load64_zero(p));
      const m = f64x2.promote_low_f32x4(v128.load64_zero(q));
      cross = f64x2.add(cross, f64x2.mul(r, m));
      onePower = f64x2.add(onePower, f64x2.mul(r, r));
      otherPower = f64x2.add(otherPower, f64x2.mul(m, m));
    }
    if (x < xTo) {
      const r = f64(load<f32>(p));
      const m = f64(load<f32>(q));
      crossRest += r * m;
      oneRest += r * r;
      otherRest += m * m;
    }
  }
  const sum = crossRest + f64x2.extract_lane(cross, 0) + f64x2.extract_lane(cross, 1);
  const ofOne = oneRest + f64x2.extract_lane(onePower, 0) + f64x2.extract_lane(onePower, 1);
  const ofOther = otherRest + f64x2.extract_lane(otherPower, 0) + f64x2.extract_lane(otherPower, 1);
  return sum / sqrt(ofOne * ofOther + 1e-12);
}

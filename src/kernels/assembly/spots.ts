// Dust: how much darker pixels are than their surroundings, in one frame against others. Planes of float32 hold ln brightness and
// have no ends.

/**
 * Subtracts half of another plane from rows from..to-1 of `residual`: of `other` by bilinear interpolation at
 *   u = startX + m0 x + m1 y,   v = startY + m3 x + m4 y,
 * or, where that lies outside of it, of `own`. residual and own begin with row `from`, other with its row `otherTop`; it has
 * (height, width), of which the rows that are read must be there.
 */
export function subtractWarped(
  residual: usize, own: usize, other: usize, otherTop: i32, width: i32, height: i32, from: i32, to: i32, startX: f64,
  startY: f64, m0: f64, m1: f64, m3: f64, m4: f64,
): void {
  const rowBytes = usize(width) << 2;
  const plane = other - usize(otherTop) * rowBytes;
  let r = residual;
  let p = own;
  for (let y = from; y < to; y++) {
    let u = startX + m1 * f64(y);
    let v = startY + m4 * f64(y);
    for (const end = r + rowBytes; r < end; r += 4, p += 4) {
      const left = Math.floor(u);
      const top = Math.floor(v);
      const column = i32(left);
      const row = i32(top);
      let value: f64;
      if (column < 0 || row < 0 || column + 1 >= width || row + 1 >= height) {
        value = f64(load<f32>(p));
      } else {
        const at = plane + usize(row) * rowBytes + (usize(column) << 2);
        const s = u - left;
        const a = f64(load<f32>(at));
        const c = f64(load<f32>(at + rowBytes));
        const upper = a + s * (f64(load<f32>(at, 4)) - a);
        const lower = c + s * (f64(load<f32>(at + rowBytes, 4)) - c);
        value = upper + (v - top) * (lower - upper);
      }
      store<f32>(r, f32(f64(load<f32>(r)) - value / 2));
      u += m0;
      v += m3;
    }
  }
}

/**
 * Sums of a plane over all rectangles from its corner, in `units` to 1 and rounded to them, modulo 2^32: i32
 * (rows + 1, width + 1), of which the first row and column must be zero. The sum over a box, a difference of four of them, is exact,
 * wherever the plane begins.
 */
export function integrateUnits(plane: usize, width: i32, rows: i32, units: f32, sums: usize): void {
  const strideBytes = usize(width + 1) << 2;
  let p = plane;
  for (let y = 0; y < rows; y++) {
    let sum: i32 = 0;
    let o = sums + usize(y + 1) * strideBytes + 4;
    for (const end = o + (usize(width) << 2); o < end; o += 4, p += 4) {
      sum += i32(nearest(load<f32>(p) * units));
      store<i32>(o, load<i32>(o - strideBytes) + sum);
    }
  }
}

/**
 * Adds, for the pixels of rows from..to-1 that lie 3 `radius` or more inside the plane, the response to a spot and its square:
 *   response = mean of the box of 2 radius + 1 pixels' side - mean of what is around it in the box of 6 radius + 1,
 * by sums as of `integrateUnits` that begin with row `sumsTop`. total and squares begin with row `top`; up to 12 bytes behind a row are
 * written before the next is, and up to 12 behind the sums are read.
 */
export function addSpotResponses(
  sums: usize, sumsTop: i32, width: i32, height: i32, radius: i32, units: f32, top: i32, from: i32, to: i32, total: usize,
  squares: usize,
): void {
  const outer = 3 * radius;
  const side = 2 * radius + 1;
  const outerSide = 2 * outer + 1;
  const innerArea = f32(side * side);
  const ringArea = f32(outerSide * outerSide) - innerArea;
  const perInner = f32x4.splat(1 / (innerArea * units));
  const perRing = f32x4.splat(1 / (ringArea * units));
  const stride = usize(width + 1) << 2;
  const sideBytes = usize(side) << 2;
  const outerBytes = usize(outerSide) << 2;
  const lanes = i32x4(0, 1, 2, 3);
  for (let y = max(from, outer); y < min(to, height - outer); y++) {
    const row = sums + usize(y - sumsTop) * stride;
    let l = row - usize(radius) * stride + (usize(outer - radius) << 2);
    let m = row + usize(radius + 1) * stride + (usize(outer - radius) << 2);
    let o = row - usize(outer) * stride;
    let p = row + usize(outer + 1) * stride;
    let at = (usize(y - top) * usize(width) + usize(outer)) << 2;
    for (let x = outer; x < width - outer; x += 4) {
      const inner = i32x4.sub(
        i32x4.sub(v128.load(m + sideBytes), v128.load(l + sideBytes)),
        i32x4.sub(v128.load(m), v128.load(l)),
      );
      const all = i32x4.sub(
        i32x4.sub(v128.load(p + outerBytes), v128.load(o + outerBytes)),
        i32x4.sub(v128.load(p), v128.load(o)),
      );
      let response = v128.sub<f32>(
        v128.mul<f32>(f32x4.convert_i32x4_s(inner), perInner),
        v128.mul<f32>(f32x4.convert_i32x4_s(i32x4.sub(all, inner)), perRing),
      );
      if (x + 4 > width - outer) {
        response = v128.and(response, i32x4.lt_s(lanes, i32x4.splat(width - outer - x)));
      }
      v128.store(total + at, v128.add<f32>(v128.load(total + at), response));
      v128.store(squares + at, v128.add<f32>(v128.load(squares + at), v128.mul<f32>(response, response)));
      l += 16;
      m += 16;
      o += 16;
      p += 16;
      at += 16;
    }
  }
}

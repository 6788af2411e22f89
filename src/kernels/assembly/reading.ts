// The first reading's view of a frame: brightness as the file encodes it, its fine detail by cells, what of it is clipped, and
// smaller pictures of it. Pictures are interleaved samples, row after row, and planes of float32 have no ends.

/**
 * Brightness of `count` pixels, 0 to 255:  out = (r + 2 g + b) / 4 by samples of 8 bits, or the one channel; 16 bits / 257.
 * Up to 15 bytes behind the samples are read, and up to 12 behind `out` are written.
 */
export function encodedLuma(samples: usize, bits: i32, channels: i32, count: i32, out: usize): void {
  let p = samples;
  const end = out + (usize(count) << 2);
  if (bits == 8) {
    if (channels == 3) {
      const quarter = f32x4.splat(0.25);
      for (let o = out; o < end; o += 16, p += 12) {
        const four = v128.load(p);
        const red = i8x16.swizzle(four, i8x16(0, -1, -1, -1, 3, -1, -1, -1, 6, -1, -1, -1, 9, -1, -1, -1));
        const green = i8x16.swizzle(four, i8x16(1, -1, -1, -1, 4, -1, -1, -1, 7, -1, -1, -1, 10, -1, -1, -1));
        const blue = i8x16.swizzle(four, i8x16(2, -1, -1, -1, 5, -1, -1, -1, 8, -1, -1, -1, 11, -1, -1, -1));
        const sum = i32x4.add(i32x4.add(red, blue), i32x4.shl(green, 1));
        v128.store(o, v128.mul<f32>(f32x4.convert_i32x4_s(sum), quarter));
      }
    } else {
      for (let o = out; o < end; o += 4, p++) store<f32>(o, f32(load<u8>(p)));
    }
    return;
  }
  if (channels == 3) {
    for (let o = out; o < end; o += 4, p += 6) {
      const sum = u32(load<u16>(p)) + 2 * u32(load<u16>(p, 2)) + u32(load<u16>(p, 4));
      store<f32>(o, f32((1.0 / 257.0 / 4.0) * f64(sum)));
    }
  } else {
    for (let o = out; o < end; o += 4, p += 2) store<f32>(o, f32((1.0 / 257.0) * f64(load<u16>(p))));
  }
}

// @ts-ignore: decorator
@inline
function squareLow(v: v128): v128 {
  const wide = f64x2.promote_low_f32x4(v);
  return f64x2.mul(wide, wide);
}

// @ts-ignore: decorator
@inline
function squareHigh(v: v128): v128 {
  return squareLow(i8x16.shuffle(v, v, 8, 9, 10, 11, 12, 13, 14, 15, 8, 9, 10, 11, 12, 13, 14, 15));
}

// @ts-ignore: decorator
@inline
function sumOf(v: v128): f64 {
  return f64x2.extract_lane(v, 0) + f64x2.extract_lane(v, 1);
}

/**
 * One row of cells of the grid of fine detail. With the second differences over s = `spacing` pixels
 *   h = 2 l(x, y) - l(x - s, y) - l(x + s, y),   and v down, d down to the right, a down to the left alike,
 * energy(cell) = (mean h^2, mean v^2, mean d^2, mean a^2),  light(cell) = mean l,
 * means over the pixels of the cell that lie `spacing` or more inside the picture, of every `rowStep`-th row. Cells have sides of
 * `cell` pixels; zeros where there are no pixels. luma: (height, width); up to 12 bytes behind it are read.
 */
export function detailCells(
  luma: usize, width: i32, height: i32, cell: i32, columns: i32, row: i32, spacing: i32, rowStep: i32, energy: usize,
  light: usize,
): void {
  const top = max(spacing, row * cell);
  const bottom = min(height - spacing, (row + 1) * cell);
  const rowBytes = usize(width) << 2;
  const aside = usize(spacing) << 2;
  const down = usize(spacing) * rowBytes;
  const lanes = i32x4(0, 1, 2, 3);
  for (let column = 0; column < columns; column++) {
    const left = max(spacing, column * cell);
    const right = min(width - spacing, (column + 1) * cell);
    let hh = f64x2.splat(0);
    let vv = f64x2.splat(0);
    let dd = f64x2.splat(0);
    let aa = f64x2.splat(0);
    let twiceSum = f64x2.splat(0);
    let count: i32 = 0;
    for (let y = top; y < bottom; y += rowStep) {
      let p = luma + usize(y) * rowBytes + (usize(left) << 2);
      for (let x = left; x < right; x += 4, p += 16) {
        const here = v128.load(p);
        let twice = v128.add<f32>(here, here);
        let h = v128.sub<f32>(v128.sub<f32>(twice, v128.load(p - aside)), v128.load(p + aside));
        let v = v128.sub<f32>(v128.sub<f32>(twice, v128.load(p - down)), v128.load(p + down));
        let d = v128.sub<f32>(v128.sub<f32>(twice, v128.load(p - down - aside)), v128.load(p + down + aside));
        let a = v128.sub<f32>(v128.sub<f32>(twice, v128.load(p - down + aside)), v128.load(p + down - aside));
        if (x + 4 > right) {
          const inside = i32x4.lt_s(lanes, i32x4.splat(right - x));
          twice = v128.and(twice, inside);
          h = v128.and(h, inside);
          v = v128.and(v, inside);
          d = v128.and(d, inside);
          a = v128.and(a, inside);
        }
        hh = f64x2.add(hh, f64x2.add(squareLow(h), squareHigh(h)));
        vv = f64x2.add(vv, f64x2.add(squareLow(v), squareHigh(v)));
        dd = f64x2.add(dd, f64x2.add(squareLow(d), squareHigh(d)));
        aa = f64x2.add(aa, f64x2.add(squareLow(a), squareHigh(a)));
        const high = i8x16.shuffle(twice, twice, 8, 9, 10, 11, 12, 13, 14, 15, 8, 9, 10, 11, 12, 13, 14, 15);
        twiceSum = f64x2.add(
          twiceSum, f64x2.add(f64x2.promote_low_f32x4(twice), f64x2.promote_low_f32x4(high)),
        );
      }
      count += right - left;
    }
    const share: f64 = count > 0 ? 1.0 / f64(count) : 0;
    const at = usize(row * columns + column);
    const e = energy + (at << 4);
    store<f32>(e, f32(sumOf(hh) * share));
    store<f32>(e, f32(sumOf(vv) * share), 4);
    store<f32>(e, f32(sumOf(dd) * share), 8);
    store<f32>(e, f32(sumOf(aa) * share), 12);
    store<f32>(light + (at << 2), f32((sumOf(twiceSum) / 2) * share));
  }
}

// @ts-ignore: decorator
@inline
function sampleAt(p: usize, bits: i32): i32 {
  return bits == 8 ? i32(load<u8>(p)) : i32(load<u16>(p));
}

/**
 * Counts the clipped pixels of rows from, from + rowStep, .. to - 1 of a picture: adds one to
 *   counts[0] where all channels are at most `bottom`,
 *   counts[1 + c] where channel c is and another is not (grey has its one channel three times),
 *   cells[floor(y cellRows / height) cellColumns + floor(x cellColumns / width)] where any is at least `top`.
 * counts, cells: u32. Up to 15 bytes behind the samples are read.
 */
export function countClipped(
  samples: usize, bits: i32, channels: i32, width: i32, height: i32, from: i32, to: i32, rowStep: i32, top: i32,
  bottom: i32, cellColumns: i32, cellRows: i32, counts: usize, cells: usize,
): void {
  const bytes: i32 = bits >> 3;
  const pixelBytes = usize(channels * bytes);
  const second: usize = channels == 3 ? usize(bytes) : 0;
  const third = second + second;
  // So many vectors hold whole pixels.
  const vectors = channels;
  const group = (16 * vectors) / i32(pixelBytes);
  const tops = bits == 8 ? i8x16.splat(i8(top)) : i16x8.splat(i16(top));
  const bottoms = bits == 8 ? i8x16.splat(i8(bottom)) : i16x8.splat(i16(bottom));
  for (let y = from; y < to; y += rowStep) {
    const cellRow = ((y * cellRows) / height) * cellColumns;
    const row = samples + usize(y) * usize(width) * pixelBytes;
    for (let x = 0; x < width; x += group) {
      let p = row + usize(x) * pixelBytes;
      let clipped = i8x16.splat(0);
      for (let i = 0; i < vectors; i++) {
        const v = v128.load(p + usize(i << 4));
        const ends = bits == 8
          ? v128.or(i8x16.ge_u(v, tops), i8x16.le_u(v, bottoms))
          : v128.or(i16x8.ge_u(v, tops), i16x8.le_u(v, bottoms));
        clipped = v128.or(clipped, ends);
      }
      if (!v128.any_true(clipped)) continue;
      for (const end = min(x + group, width), start = x, first = p; p < first + usize(end - start) * pixelBytes; p += pixelBytes) {
        const red = sampleAt(p, bits);
        const green = sampleAt(p + second, bits);
        const blue = sampleAt(p + third, bits);
        if (red >= top || green >= top || blue >= top) {
          const column = start + i32((p - first) / pixelBytes);
          increase(cells + (usize(cellRow + (column * cellColumns) / width) << 2));
        }
        if (red > bottom && green > bottom && blue > bottom) continue;
        if (red <= bottom && green <= bottom && blue <= bottom) {
          increase(counts);
          continue;
        }
        if (red <= bottom) increase(counts + 4);
        if (green <= bottom) increase(counts + 8);
        if (blue <= bottom) increase(counts + 12);
      }
    }
  }
}

// @ts-ignore: decorator
@inline
function increase(p: usize): void {
  store<u32>(p, load<u32>(p) + 1);
}

/**
 * Rows from..to-1 of a plane that is `boxes` times as small per side: each pixel
 *   out = table[trunc(entries (sum of its boxes x boxes values of luma) / boxes^2 + 1/2)],
 * `entries` to a level. luma has `width` columns; out has floor(width / boxes).
 */
export function boxLogs(
  luma: usize, width: i32, boxes: i32, from: i32, to: i32, entries: i32, table: usize, out: usize,
): void {
  const columns = width / boxes;
  const toEntry: f64 = f64(entries) / f64(boxes * boxes);
  const rowBytes = usize(width) << 2;
  for (let y = from; y < to; y++) {
    const start = luma + usize(y * boxes) * rowBytes;
    let o = out + (usize(y * columns) << 2);
    if (boxes == 2) {
      let p = start;
      for (const end = o + (usize(columns) << 2); o < end; o += 4, p += 8) {
        const above = f32(f64(load<f32>(p)) + f64(load<f32>(p, 4)));
        const below = f64(load<f32>(p + rowBytes)) + f64(load<f32>(p + rowBytes, 4));
        const entry = i32(f64(f32(f64(above) + below)) * toEntry + 0.5);
        store<f32>(o, load<f32>(table + (usize(entry) << 2)));
      }
      continue;
    }
    for (let x = 0; x < columns; x++, o += 4) {
      let sum: f32 = 0;
      let line = start + (usize(x * boxes) << 2);
      for (let j = 0; j < boxes; j++, line += rowBytes) {
        let ofRow: f64 = 0;
        for (let i = 0; i < boxes; i++) ofRow += f64(load<f32>(line + (usize(i) << 2)));
        sum = f32(f64(sum) + ofRow);
      }
      const entry = i32(f64(sum) * toEntry + 0.5);
      store<f32>(o, load<f32>(table + (usize(entry) << 2)));
    }
  }
}

/** Brightness of `count` pixels, 0 to 255, in bytes:  out = floor(luma + 1/2). Up to 15 bytes behind either are touched. */
export function roundLuma(luma: usize, count: i32, out: usize): void {
  const half = f32x4.splat(0.5);
  let p = luma;
  for (let o = out, end = out + usize(count); o < end; o += 8, p += 32) {
    const near = i32x4.trunc_sat_f32x4_s(v128.add<f32>(v128.load(p), half));
    const far = i32x4.trunc_sat_f32x4_s(v128.add<f32>(v128.load(p, 16), half));
    const wide = i16x8.narrow_i32x4_s(near, far);
    v128.store64_lane(o, i8x16.narrow_i16x8_u(wide, wide), 0);
  }
}

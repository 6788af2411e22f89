// Foreground blur spill: light of nearer things, out of focus, that lies over farther detail in the very frames that show
// that detail sharp. Beside the edge of a near leaf, a frame focused on the wall behind shows, in light,
//
//   I = (1 - a) F + V
//
// with F the wall, a the share of the cone of rays that the leaf cuts off, and V the leaf's light in it. So
// F = (I - V) / (1 - a).
//
// V and a are kept at level 1, four u16 a pixel: red, green, blue, a, all 0..65535 for 0..1; beside them the depth index
// (u16, as the surface stores it) whose frames show them.
//
// They are summed over cells: squares of 4, 8, ... 64 px, each with two layers, the nearest and what lies more than a gap
// behind it. A cell is 24 bytes: four u16 of the nearest, light and share of the cell, four u16 of the rest, and the depth
// index of either (u16, 0 = none).
import { indexOffset, clearReach } from './constants';
import { exp2, fillEnds } from './common';
import { fourOf, unitsOf64ths, unitsPerFrame } from './curve-state';
import { gainedCurve, lightOf, pixelLight } from './light';

const cellBytes: usize = 24;

/**
 * Notes the light of a frame where its measure is the best so far: level 1, u32 RGBx, the square roots of light as bytes,
 * rows tight. best: plane of the focus state with the ordinal of the best frame. Source position =
 * (a x + b y + c, d x + e y + f) of a pixel of level 0.
 */
export function noteLightStrip(
  source: usize, bits: i32, sourceWidth: i32, sourceHeight: i32, gainR: f32, gainG: f32, gainB: f32,
  curve1: f32, curve2: f32, curve3: f32,
  a: f64, b: f64, c: f64, d: f64, e: f64, f: f64,
  best: usize, stride: i32, width: i32, height: i32, ordinal: i32, out: usize,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  // The mean of four pixels, times 255.
  const unit: f32 = 255.0 / 4;
  const c1 = gainedCurve(bits, gainR, gainG, gainB, curve1 * unit, 1);
  const c2 = gainedCurve(bits, gainR, gainG, gainB, curve2 * unit, 2);
  const c3 = gainedCurve(bits, gainR, gainG, gainB, curve3 * unit, 3);
  const rowBytes = usize(sourceWidth) * (bits == 8 ? 3 : 6);
  const now = i16x8.splat(i16(ordinal));
  const lastColumn = sourceWidth - 1;
  const lastRow = sourceHeight - 1;
  for (let y = strip * stripRows; y < y1; y++) {
    const ordinals = best + (usize(y * stride) << 1);
    const to = out + (usize(y * width) << 2);
    const uOfRow = b * f64(2 * y);
    const vOfRow = e * f64(2 * y);
    for (let group = 0; group < width; group += 8) {
      let asked = i16x8.bitmask(i16x8.eq(v128.load(ordinals + (usize(group) << 1)), now));
      for (; asked != 0; asked &= asked - 1) {
        const x = group + i32(ctz(asked));
        if (x >= width) break;
        const u = i32(Math.floor(a * f64(2 * x) + uOfRow + c));
        const v = i32(Math.floor(d * f64(2 * x) + vOfRow + f));
        const row = source + usize(max(0, min(lastRow, v))) * rowBytes;
        const below = source + usize(max(0, min(lastRow, v + 1))) * rowBytes;
        const column = max(0, min(lastColumn, u));
        const after = max(0, min(lastColumn, u + 1));
        const sum = v128.add<f32>(
          v128.add<f32>(pixelLight(row, bits, column, c1, c2, c3), pixelLight(row, bits, after, c1, c2, c3)),
          v128.add<f32>(pixelLight(below, bits, column, c1, c2, c3), pixelLight(below, bits, after, c1, c2, c3)),
        );
        const words = v128.trunc_sat<i32>(v128.add<f32>(f32x4.splat(0.5), v128.sqrt<f32>(sum)));
        const shorts = i16x8.narrow_i32x4_u(words, words);
        v128.store32_lane(to + (usize(x) << 2), i8x16.narrow_i16x8_u(shorts, shorts), 0);
      }
    }
  }
}

/** Four floats as u16, cut to whole numbers of 0..65535. */
// @ts-ignore: decorator
@inline
function storeFour(at: usize, values: v128): void {
  const whole = v128.trunc_sat<i32>(values);
  v128.store64_lane(at, i16x8.narrow_i32x4_u(whole, whole), 0);
}

/** The layers of a cell while they are summed: light and share, and depth index times share. */
let frontLight: v128 = f32x4.splat(0);
let restLight: v128 = f32x4.splat(0);
let frontDepth: f32 = 0;
let restDepth: f32 = 0;

// @ts-ignore: decorator
@inline
function clearLayers(): void {
  frontLight = f32x4.splat(0);
  restLight = f32x4.splat(0);
  frontDepth = 0;
  restDepth = 0;
}

/** Adds light whose lane 3 is its share of a quarter of the cell. */
// @ts-ignore: decorator
@inline
function addToLayers(light: v128, depth: i32, nearest: i32, gap: i32, nearSign: i32): void {
  const share = v128.extract_lane<f32>(light, 3);
  if (nearSign * depth - nearest < gap) {
    frontLight = v128.add<f32>(frontLight, light);
    frontDepth += share * f32(depth);
  } else {
    restLight = v128.add<f32>(restLight, light);
    restDepth += share * f32(depth);
  }
}

// @ts-ignore: decorator
@inline
function storeLayers(cell: usize): void {
  const quarter = f32x4.splat(0.25);
  storeFour(cell, v128.mul<f32>(quarter, frontLight));
  storeFour(cell + 8, v128.mul<f32>(quarter, restLight));
  const front = v128.extract_lane<f32>(frontLight, 3);
  const rest = v128.extract_lane<f32>(restLight, 3);
  store<u16>(cell, front > 0 ? u16(frontDepth / front + 0.5) : 0, 16);
  store<u16>(cell, rest > 0 ? u16(restDepth / rest + 0.5) : 0, 18);
}

/** Beyond every depth index. */
const farthest: i32 = 0x7fffffff;

/**
 * Cells of 4 px: rows of one strip. depthIndices, weights: of level 0; what weighs less than leastWeight is unknown and spills
 * nothing. lights: of level 1, see `noteLightStrip`. width, height: in cells; lightWidth, lightHeight: of level 1; fullWidth,
 * fullHeight: of level 0.
 */
export function spillCellsStrip(
  depthIndices: usize, weights: usize, leastWeight: i32, stride: i32, fullWidth: i32, fullHeight: i32,
  lights: usize, lightWidth: i32, lightHeight: i32, gap: i32, nearSign: i32,
  out: usize, width: i32, height: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  for (let y = strip * stripRows; y < y1; y++) {
    for (let x = 0; x < width; x++) {
      // Depth indices of the 16 pixels, nearSign times, `farthest` where unknown, by pixel of level 1.
      let nearest = farthest;
      for (let i = 0; i < 16; i++) {
        const column = 4 * x + ((i >> 2) & 1) * 2 + (i & 1);
        const row = 4 * y + (i >> 3) * 2 + ((i >> 1) & 1);
        const at = usize(row * stride + column) << 1;
        const isKnown = column < fullWidth && row < fullHeight && i32(load<u16>(weights + at)) >= leastWeight;
        const near = isKnown ? nearSign * i32(load<u16>(depthIndices + at)) : farthest;
        store<i32>(scratch + (usize(i) << 2), near);
        nearest = min(nearest, near);
      }
      clearLayers();
      if (nearest < farthest) {
        for (let i = 0; i < 4; i++) {
          const column = min(lightWidth - 1, 2 * x + (i & 1));
          const row = min(lightHeight - 1, 2 * y + (i >> 1));
          const bytes = v128.extend_low<u16>(v128.extend_low<u8>(v128.load32_zero(lights + (usize(row * lightWidth + column) << 2))));
          const root = v128.convert<i32>(bytes);
          const light = v128.replace_lane<f32>(v128.mul<f32>(v128.mul<f32>(root, root), f32x4.splat(65535.0 / 65025 / 4)), 3, 65535.0 / 4);
          for (let j = 0; j < 4; j++) {
            const near = load<i32>(scratch + (usize(4 * i + j) << 2));
            if (near < farthest) addToLayers(light, nearSign * near, nearest, gap, nearSign);
          }
        }
      }
      storeLayers(out + usize(y * width + x) * cellBytes);
    }
  }
}

/** Cells of twice the side from four each: rows of one strip. */
export function mergeSpillCellsStrip(
  fine: usize, fineWidth: i32, fineHeight: i32, gap: i32, nearSign: i32,
  out: usize, width: i32, height: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  for (let y = strip * stripRows; y < y1; y++) {
    for (let x = 0; x < width; x++) {
      let nearest = farthest;
      for (let i = 0; i < 4; i++) {
        const cell = cellAt(fine, fineWidth, fineHeight, 2 * x + (i & 1), 2 * y + (i >> 1));
        const depth = cell == 0 ? 0 : i32(load<u16>(cell, 16));
        if (depth > 0) nearest = min(nearest, nearSign * depth);
      }
      clearLayers();
      for (let i = 0; i < 4; i++) {
        const cell = cellAt(fine, fineWidth, fineHeight, 2 * x + (i & 1), 2 * y + (i >> 1));
        if (cell == 0) continue;
        for (let layer: usize = 0; layer < 2; layer++) {
          const depth = i32(load<u16>(cell + 2 * layer, 16));
          if (depth > 0) addToLayers(fourOf(cell + 8 * layer), depth, nearest, gap, nearSign);
        }
      }
      storeLayers(out + usize(y * width + x) * cellBytes);
    }
  }
}

// @ts-ignore: decorator
@inline
function cellAt(cells: usize, width: i32, height: i32, x: i32, y: i32): usize {
  return x < width && y < height ? cells + usize(y * width + x) * cellBytes : 0;
}

/**
 * The spill over each pixel of level 1 in the frames of its own depth. The disc of rays about the pixel is sampled at
 * `samples` points, denser near its centre. Each point stands for its part of a ring and reads a cell of about that size: a
 * layer that is nearer by more than `gap` stored units, and whose own blur reaches the pixel, covers the part.
 *
 * depthIndices, weights: of level 0; from pixels of less than leastWeight nothing is subtracted. cells: three u32 a size, the smallest
 * first: address, width, height. table: cosine, sine and distance (0..1) of each sample, f32. blur: radius of the blur a frame
 * away, px of level 0. reaches: how far anything may spill into a block of 32 px, px of level 0, f32, rows of `blocks`.
 */
export function spillStrip(
  depthIndices: usize, weights: usize, leastWeight: i32, stride: i32, cells: usize, sizes: i32,
  table: usize, samples: i32, blur: f32, gap: i32, nearSign: i32, fractionBits: i32, reaches: usize, blocks: i32,
  outIndices: usize, outSpill: usize, width: i32, height: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const perUnit: f32 = blur / (2 * unitsPerFrame(fractionBits));
  for (let y = strip * stripRows; y < y1; y++) {
    let reach: f32 = 0;
    for (let x = 0; x < width; x++) {
      const at = usize(y * width + x);
      const full = usize(2 * y * stride + 2 * x) << 1;
      const stored = load<u16>(depthIndices + full);
      store<u16>(outIndices + (at << 1), stored);
      if ((x & 15) == 0) {
        const before = reach;
        reach = f32(0.5) * load<f32>(reaches + (usize((y >> 4) * blocks + (x >> 4)) << 2));
        if (reach != before) placeSamples(table, samples, reach, cells, sizes, scratch);
      }
      let light = f32x4.splat(0);
      if (reach > 0 && i32(load<u16>(weights + full)) >= leastWeight) {
        const depth = nearSign * i32(stored);
        const part: f32 = f32(2) * reach / f32(samples);
        for (let sample = scratch; sample < scratch + usize(samples) * sampleBytes; sample += sampleBytes) {
          const perSide = load<f32>(sample, 12);
          const column = i32(Mathf.floor((f32(x) + load<f32>(sample) + f32(0.5)) * perSide));
          const row = i32(Mathf.floor((f32(y) + load<f32>(sample, 4) + f32(0.5)) * perSide));
          const across = load<i32>(sample, 20);
          if (column < 0 || row < 0 || column >= across || row >= load<i32>(sample, 24)) continue;
          const cell = usize(load<u32>(sample, 16)) + usize(row * across + column) * cellBytes;
          const r = load<f32>(sample, 8);
          for (let layer: usize = 0; layer < 2; layer++) {
            const other = i32(load<u16>(cell + 2 * layer, 16));
            const nearer = depth - nearSign * other;
            if (other == 0 || nearer <= gap) continue;
            const radius = perUnit * f32(nearer);
            const cover: f32 = min<f32>(1, (radius - r) * perSide + f32(0.5));
            if (cover <= 0) continue;
            const weight = f32x4.splat(cover * part * r / (radius * radius));
            light = v128.add<f32>(light, v128.mul<f32>(weight, fourOf(cell + 8 * layer)));
          }
        }
        // What lies nearer covers the disc as though it were strewn over it: 1 - exp(-sum).
        const sum: f32 = v128.extract_lane<f32>(light, 3) / 65535;
        if (sum > 0) light = v128.mul<f32>(light, f32x4.splat((f32(1) - f32(1) / exp2(sum * f32(Math.LOG2E))) / sum));
      }
      storeFour(outSpill + (at << 3), light);
    }
  }
}

/** A sample of the disc: x, y and distance from the pixel, 1 / side of its cell, all f32 in pixels; then its size of cells. */
const sampleBytes: usize = 28;

/** The samples of a disc of radius `reach`, and the size of the cells that each reads. */
function placeSamples(table: usize, samples: i32, reach: f32, cells: usize, sizes: i32, out: usize): void {
  const part: f32 = f32(2) * reach / f32(samples);
  for (let i = 0; i < samples; i++) {
    const sample = table + usize(i) * 12;
    const to = out + usize(i) * sampleBytes;
    const r: f32 = reach * load<f32>(sample, 8);
    // The ring's part of this sample is pi r part, a cell of size s is 4^(s + 1).
    let size = 0;
    let side: f32 = 2;
    while (size < sizes - 1 && r * part * f32(3.14) > 2 * side * side) {
      size++;
      side *= 2;
    }
    store<f32>(to, r * load<f32>(sample));
    store<f32>(to, r * load<f32>(sample, 4), 4);
    store<f32>(to, r, 8);
    store<f32>(to, f32(1) / side, 12);
    memory.copy(to + 16, cells + usize(size) * 12, 12);
  }
}

// @ts-ignore: decorator
@inline
function isOwn(depthIndex: u16, ordinal: i32, fractionBits: i32): bool {
  return abs(i32(depthIndex) - ((ordinal + i32(indexOffset)) << fractionBits)) < unitsOf64ths(clearReach, fractionBits);
}

/**
 * The picture of a frame at level 1 from samples to light, in place, and where the frame's depth is the pixel's own, without
 * the spill.
 */
export function subtractSpillStrip(
  picture: usize, stride: i32, planeBytes: usize, width: i32, height: i32, curve1: f32, curve2: f32, curve3: f32,
  depthIndices: usize, spills: usize, ordinal: i32, fractionBits: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const c1 = f32x4.splat(curve1);
  const c2 = f32x4.splat(curve2 / 255);
  const c3 = f32x4.splat(curve3 / 65025);
  const y1 = min(height, (strip + 1) * stripRows);
  for (let y = strip * stripRows; y < y1; y++) {
    const row = picture + (usize(y * stride) << 2);
    for (let channel = 0; channel < 3; channel++) {
      const plane = row + usize(channel) * planeBytes;
      for (let x = 0; x < width; x += 4) {
        const at = plane + (usize(x) << 2);
        v128.store(at, lightOf(v128.load(at), c1, c2, c3));
      }
    }
    for (let x = 0; x < width; x++) {
      const at = usize(y * width + x);
      const spill = load<u64>(spills + (at << 3));
      if (spill == 0 || !isOwn(load<u16>(depthIndices + (at << 1)), ordinal, fractionBits)) continue;
      const grown: f32 = f32(65535) / (f32(65535) - f32(i32(spill >> 48)));
      for (let channel = 0; channel < 3; channel++) {
        const p = row + usize(channel) * planeBytes + (usize(x) << 2);
        const light = f32(i32(spill >> u64(16 * channel)) & 65535) * (1.0 / 257);
        store<f32>(p, max<f32>(0, grown * (load<f32>(p) - light)));
      }
    }
    for (let channel = 0; channel < 3; channel++) fillEnds(row + usize(channel) * planeBytes, width);
  }
}

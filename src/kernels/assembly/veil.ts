// The veil: light of nearer things, out of focus, that lies over farther detail in the very frames that show that
// detail sharp. Beside the edge of a near leaf, a frame focused on the wall behind shows
//
//   I = (1 - a) F + a N
//
// with F the wall, N the leaf's light and a the share of the cone of rays that the leaf cuts off. So
// F = I + k (I - N), k = a / (1 - a).
//
// a and N are kept at level 1, one u32 a pixel: red, green, blue of N in the low bytes, a in the high one as a
// share of `cap` / 255; beside it the place (u16, as the surface stores it) whose frames are veiled so.
import { placeOffset, unitsOf64ths, unitsPerFrame } from './curve-state';

/** Farthest from its place, 1/64 frame, at which a frame is cleared. */
const clearReach: i32 = 128;

/**
 * Notes the colour of a frame where its measure is the best so far: level 2, u32 RGBx, rows tight.
 * best: plane of the focus state with the ordinal of the best frame. Source position = (a x + b y + c, d x + e y + f)
 * of a pixel of level 0.
 */
export function noteColoursStrip(
  source: usize, bits: i32, sourceWidth: i32, sourceHeight: i32, gainR: f32, gainG: f32, gainB: f32,
  a: f64, b: f64, c: f64, d: f64, e: f64, f: f64,
  best: usize, stride: i32, width: i32, height: i32, ordinal: i32, out: usize,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const scale: f32 = bits == 16 ? 0.25 / 257 : 0.25;
  for (let y = strip * stripRows; y < y1; y++) {
    for (let x = 0; x < width; x++) {
      if (i32(load<u16>(best + (usize(y * stride + x) << 1))) != ordinal) continue;
      const u = i32(Math.floor(a * f64(4 * x) + b * f64(4 * y) + c + 0.5));
      const v = i32(Math.floor(d * f64(4 * x) + e * f64(4 * y) + f + 0.5));
      let red: f32 = 0;
      let green: f32 = 0;
      let blue: f32 = 0;
      for (let tap = 0; tap < 4; tap++) {
        const column = max(0, min(sourceWidth - 1, u + (tap & 1 ? 1 : -1)));
        const row = max(0, min(sourceHeight - 1, v + (tap & 2 ? 1 : -1)));
        const at = (usize(row) * usize(sourceWidth) + usize(column)) * 3;
        if (bits == 16) {
          const p = source + (at << 1);
          red += f32(load<u16>(p));
          green += f32(load<u16>(p, 2));
          blue += f32(load<u16>(p, 4));
        } else {
          const p = source + at;
          red += f32(load<u8>(p));
          green += f32(load<u8>(p, 1));
          blue += f32(load<u8>(p, 2));
        }
      }
      store<u32>(
        out + (usize(y * width + x) << 2),
        byteOf(red * scale * gainR) | (byteOf(green * scale * gainG) << 8) | (byteOf(blue * scale * gainB) << 16),
      );
    }
  }
}

// @ts-ignore: decorator
@inline
function byteOf(value: f32): u32 {
  return u32(min<f32>(255, max<f32>(0, value)) + 0.5);
}

/**
 * The veil over each pixel of level 1 in the frames of its own place. The disc of rays about it is asked at
 * `samples` points that lie the denser the nearer: whatever is nearer by more than `gap` frames and whose own blur
 * reaches from there covers its part.
 *
 * places, weights: of level 0; places of less than leastWeight are not cleared. thin: places of level 2, rows tight,
 * 0 = unsure; colours: of level 2. table: cosine, sine and distance of
 * each sample, f32. blur: radius of the blur a frame away, px of level 0. widest: largest radius asked, px of level 0.
 * nearest: the nearest stored place, times nearSign.
 */
export function veilStrip(
  places: usize, weights: usize, leastWeight: i32, stride: i32, thin: usize, colours: usize, thinWidth: i32, thinHeight: i32,
  table: usize, samples: i32, blur: f32, gap: f32, cap: f32, widest: f32, nearSign: i32, nearest: i32, fractionBits: i32,
  outPlaces: usize, outVeil: usize, width: i32, height: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const perPlace: f32 = blur / (2 * unitsPerFrame(fractionBits));
  const gapPlaces = i32(gap * unitsPerFrame(fractionBits));
  for (let y = strip * stripRows; y < y1; y++) {
    for (let x = 0; x < width; x++) {
      const at = usize(y * width + x);
      const full = usize(2 * y * stride + 2 * x) << 1;
      const stored = load<u16>(places + full);
      store<u16>(outPlaces + (at << 1), stored);
      const place = nearSign * i32(stored);
      const reach = min<f32>(widest * 0.5, perPlace * f32(place - nearest));
      let veil: u32 = 0;
      if (i32(load<u16>(weights + full)) >= leastWeight && place - nearest > gapPlaces && reach >= 1) {
        let share: f32 = 0;
        let red: f32 = 0;
        let green: f32 = 0;
        let blue: f32 = 0;
        const part: f32 = f32(2) * reach / f32(samples);
        for (let i = 0; i < samples; i++) {
          const sample = table + usize(i) * 12;
          const r = reach * load<f32>(sample, 8);
          const u = i32(f32(x) * 0.5 + r * 0.5 * load<f32>(sample) + 0.5);
          const v = i32(f32(y) * 0.5 + r * 0.5 * load<f32>(sample, 4) + 0.5);
          if (u < 0 || v < 0 || u >= thinWidth || v >= thinHeight) continue;
          const there = usize(v * thinWidth + u);
          const other = i32(load<u16>(thin + (there << 1)));
          const nearer = place - nearSign * other;
          if (other == 0 || nearer <= gapPlaces) continue;
          const radius = perPlace * f32(nearer);
          const cover = min<f32>(1, radius + 0.5 - r);
          if (cover <= 0) continue;
          const weight = cover * part * r / (radius * radius);
          const colour = load<u32>(colours + (there << 2));
          share += weight;
          red += weight * f32(colour & 255);
          green += weight * f32((colour >> 8) & 255);
          blue += weight * f32((colour >> 16) & 255);
        }
        const kept = u32(min(share, cap) * 255 / cap + 0.5);
        if (kept > 0) {
          veil = (kept << 24) | byteOf(red / share) | (byteOf(green / share) << 8) | (byteOf(blue / share) << 16);
        }
      }
      store<u32>(outVeil + (at << 2), veil);
    }
  }
}

/** Takes the veil from one sample of each channel at `pixel`, planes `planeBytes` apart. */
// @ts-ignore: decorator
@inline
function clearPixel(pixel: usize, planeBytes: usize, veil: u32, cap: f32): void {
  const a = f32(veil >> 24) * cap / 255;
  const k = a / (1 - a);
  for (let channel = 0; channel < 3; channel++) {
    const p = pixel + usize(channel) * planeBytes;
    const value = load<f32>(p);
    store<f32>(p, value + k * (value - f32((veil >> u32(8 * channel)) & 255)));
  }
}

// @ts-ignore: decorator
@inline
function isOwn(place: u16, ordinal: i32, fractionBits: i32): bool {
  return abs(i32(place) - ((ordinal + i32(placeOffset)) << fractionBits)) < unitsOf64ths(clearReach, fractionBits);
}

/** Clears the picture of a frame at level 1, in place. */
export function clearStrip(
  picture: usize, stride: i32, planeBytes: usize, width: i32, height: i32,
  places: usize, veils: usize, cap: f32, ordinal: i32, fractionBits: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  for (let y = strip * stripRows; y < y1; y++) {
    for (let x = 0; x < width; x++) {
      const at = usize(y * width + x);
      const veil = load<u32>(veils + (at << 2));
      if (veil == 0 || !isOwn(load<u16>(places + (at << 1)), ordinal, fractionBits)) continue;
      clearPixel(picture + (usize(y * stride + x) << 2), planeBytes, veil, cap);
    }
  }
}

/** Clears columns x0..x1-1 of row y of a frame at level 0; `row` points at column 0. width, height: of level 1. */
// @ts-ignore: decorator
@inline
export function clearRow(
  row: usize, planeBytes: usize, y: i32, x0: i32, x1: i32,
  places: usize, veils: usize, width: i32, height: i32, cap: f32, ordinal: i32, fractionBits: i32,
): void {
  const line = usize(min(height - 1, (y + 1) >> 1) * width);
  for (let x = x0; x < x1; x++) {
    const at = line + usize(min(width - 1, (x + 1) >> 1));
    const veil = load<u32>(veils + (at << 2));
    if (veil == 0 || !isOwn(load<u16>(places + (at << 1)), ordinal, fractionBits)) continue;
    clearPixel(row + (usize(x) << 2), planeBytes, veil, cap);
  }
}

// False rims: peaks that the blur of a strong edge feigns.
//
// Where the ground is smooth, the only thing that ever happens at a pixel beside a strong edge is the edge's own blur
// passing over it. It reaches the pixel in the frames in which its radius is the pixel's distance, and the measure of a
// coarse level rises there: a peak, but of nothing that is there. Believed, it would take the ground from frames in which
// the edge is blurred widest, and lay a wide glow about the subject.
//
// A peak is such a rim when all of this is true:
//   - the fine level shows hardly anything: blur leaves an edge no fine detail;
//   - an edge lies so far away as its blur is wide in the peak's frame;
//   - that edge, where it is sharp, is as much stronger as blur weakens: the second derivative of an edge that is blurred
//     over a radius R falls as 1 / R^2, so its energy by four octaves as R doubles.
import { codesPerOctave, gapBit, clearOctaves, rimTolerance, samePeak64ths, windowRadius } from './constants';
import { exp2 } from './common';
import { depthIndexAt, unitsOf64ths } from './curve-state';

/**
 * Marks (u16: 1 or 0, rows as the peaks') the false rims of one level, rows of one strip.
 *
 * rises, depthIndices, weights: peaks of the level. fine: rises of the finer level whose size is the level's times 2^fineShift.
 * pitch: pixels of level 0 that a pixel of the level spans. blur: radius of the blur a frame away, px of level 0. table:
 * cosine, sine and distance (0..1) of each sample, f32. widest: farthest that an edge is looked for, px of level 0.
 */
export function markFalseRimsStrip(
  rises: usize, depthIndices: usize, weights: usize, marks: usize, stride: i32, width: i32, height: i32, pitch: f32,
  fine: usize, fineStride: i32, fineShift: i32, fineWidth: i32, fineHeight: i32,
  blur: f32, frames: i32, table: usize, samples: i32, widest: f32, fractionBits: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const perPitch: f32 = 1 / pitch;
  for (let y = strip * stripRows; y < y1; y++) {
    for (let x = 0; x < width; x++) {
      const at = (usize(y) * usize(stride) + usize(x)) << 1;
      store<u16>(marks + at, 0);
      const rise = f32(load<u16>(rises + at)) * (1 / codesPerOctave);
      if (rise <= 0 || (i32(load<u16>(weights + at)) & ~gapBit) == 0) continue;
      const fineRise = mostIn(fine, fineStride, fineShift, fineWidth, fineHeight, x, y);
      if (fineRise >= max<f32>(clearOctaves, rise - rimTolerance)) continue;
      const depthIndex = depthIndexAt(load<u16>(depthIndices + at), fractionBits);
      const farthest = blur * max<f32>(depthIndex - 1, f32(frames) - depthIndex);
      const reach = min<f32>(widest, farthest + f32(windowRadius) * pitch);
      for (let i = 0; i < samples; i++) {
        const sample = table + usize(i) * 12;
        const distance = reach * load<f32>(sample, 8);
        const u = i32(Mathf.floor(f32(x) + distance * perPitch * load<f32>(sample) + 0.5));
        const v = i32(Mathf.floor(f32(y) + distance * perPitch * load<f32>(sample, 4) + 0.5));
        if (u < 0 || v < 0 || u >= width || v >= height) continue;
        const there = (usize(v) * usize(stride) + usize(u)) << 1;
        const lead = f32(load<u16>(rises + there)) * (1 / codesPerOctave) - rise;
        if (lead < clearOctaves) continue;
        const radius = Mathf.abs(depthIndexAt(load<u16>(depthIndices + there), fractionBits) - depthIndex) * blur;
        if (radius < pitch || distance > radius + f32(windowRadius) * pitch || distance < 0.5 * radius) continue;
        const spread = radius * perPitch * radius * perPitch;
        if (exp2(lead + rimTolerance) <= spread * spread) continue;
        store<u16>(marks + at, 1);
        break;
      }
    }
  }
}

/** Largest of four rises spread over the finer pixels of a coarse one, octaves. */
// @ts-ignore: decorator
@inline
function mostIn(fine: usize, stride: i32, shift: i32, width: i32, height: i32, x: i32, y: i32): f32 {
  const half = (1 << shift) >> 1;
  let most = 0;
  for (let j = 0; j < 2; j++) {
    const row = usize(min(height - 1, (y << shift) + j * half)) * usize(stride);
    for (let i = 0; i < 2; i++) {
      most = max(most, i32(load<u16>(fine + ((row + usize(min(width - 1, (x << shift) + i * half))) << 1))));
    }
  }
  return f32(most) * (1 / codesPerOctave);
}

/**
 * Takes rise and weight from the peaks of a level that lie under a mark and have its depth index, rows of one strip. marks,
 * markIndices: of a level that is 2^shift times smaller; they may be the level's own.
 */
export function dropFalseRimsStrip(
  rises: usize, depthIndices: usize, weights: usize, stride: i32, width: i32, height: i32,
  marks: usize, markIndices: usize, markStride: i32, shift: i32, fractionBits: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const apart = unitsOf64ths(samePeak64ths, fractionBits);
  for (let y = strip * stripRows; y < y1; y++) {
    const markRow = (usize(y >> shift) * usize(markStride)) << 1;
    const row = (usize(y) * usize(stride)) << 1;
    for (let x = 0; x < width; x++) {
      const mark = markRow + (usize(x >> shift) << 1);
      if (load<u16>(marks + mark) == 0) continue;
      const at = row + (usize(x) << 1);
      if (abs(i32(load<u16>(depthIndices + at)) - i32(load<u16>(markIndices + mark))) > apart) continue;
      store<u16>(rises + at, 0);
      store<u16>(weights + at, 0);
    }
  }
}

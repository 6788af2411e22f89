// From the peaks of the focus curves to one surface: see curve-state.ts for the planes.
import { gapBit, octave, placeAt, placeCode, planeOf, strideOf, truncatedCurve, unitsPerFrame } from './curve-state';

/** A level speaks for a pixel when its peak stands this far above noise, octaves; the finest has most of the noise. */
const leastRise: f32 = 1.25;
const leastRiseFinest: f32 = 2;
/**
 * Noise peaks this high too, in blocks that compression left more of it, octaves. Below that a coarser level, whose
 * noise is another, must show something as well, this far above noise.
 */
const sureRise: f32 = 2;
const sureRiseFinest: f32 = 5;
const supportRise: f32 = 0.9;
const supportRiseFinest: f32 = 1.25;
/** It must do so within so many units, but beside a detail of level 0 this far above noise: */
const supportReach: f32 = 2;
const apartRise: f32 = 3;
/** At a coarser level so many of the 7 x 7 pixels around must have that peak: the window of noise is smaller. */
const aroundReach: i32 = 3;
const fewestAround: i32 = 12;
/** A coarser level refines a finer one's place only where both mean the same surface, units. */
const sameSurface: f32 = 1.2;
/** A coarser level's window is wider than what it refines, and bends with the subject: it has less of a say. */
const coarserSay: f32 = 0.2;

/**
 * Whether a peak of `level` that noise may reach as well is there at level 0's pixel: coarser levels have it, and enough
 * pixels around. width, height: of level 0.
 */
// @ts-ignore: decorator
@inline
function isSupported(
  levels: usize, count: i32, level: i32, x: i32, y: i32, width: i32, height: i32, place: f32, rise: f32, unit: f32,
  fractionBits: i32,
): bool {
  const isFinest = level == 0;
  if (!isFinest && !isWide(levels, level, x, y, width, height, place, unit, fractionBits)) return false;
  const least = octave * (isFinest ? supportRiseFinest : supportRise);
  const mayDiffer = isFinest && rise >= apartRise * octave;
  for (let coarser = level + 1; coarser < count; coarser++) {
    const q = (usize(y >> coarser) * strideOf(levels, coarser) + usize(x >> coarser)) << 1;
    const coarseRise = f32(load<u16>(planeOf(levels, coarser, 0) + q));
    if (coarseRise < least) continue;
    const coarsePlace = placeAt(load<u16>(planeOf(levels, coarser, 1) + q), fractionBits);
    if (!mayDiffer && Mathf.abs(coarsePlace - place) > supportReach * unit) continue;
    if (!isFinest || coarseRise >= sureRise * octave) return true;
    if (isWide(levels, coarser, x, y, width, height, coarsePlace, unit, fractionBits)) return true;
  }
  return false;
}

/** Whether enough pixels of a level around level 0's pixel have a peak near `place`. width, height: of level 0. */
// @ts-ignore: decorator
@inline
function isWide(
  levels: usize, level: i32, x: i32, y: i32, width: i32, height: i32, place: f32, unit: f32, fractionBits: i32,
): bool {
  const centreX = x >> level;
  const centreY = y >> level;
  const lastX = (width - 1) >> level;
  const lastY = (height - 1) >> level;
  let found = 0;
  for (let yy = max(0, centreY - aroundReach); yy <= min(lastY, centreY + aroundReach); yy++) {
    const row = (usize(yy) * strideOf(levels, level)) << 1;
    const rises = planeOf(levels, level, 0) + row;
    const places = planeOf(levels, level, 1) + row;
    for (let xx = max(0, centreX - aroundReach); xx <= min(lastX, centreX + aroundReach); xx++) {
      const at = usize(xx) << 1;
      if (f32(load<u16>(rises + at)) < supportRise * octave) continue;
      if (Mathf.abs(placeAt(load<u16>(places + at), fractionBits) - place) <= supportReach * unit) found++;
    }
  }
  return found >= fewestAround;
}

/**
 * Level 0's planes 3, 4 and 8 from the peaks of all levels, rows of one strip: the finest level that stands out of
 * the noise, refined by the coarser ones that agree with it. frames: their number; unit, fractionBits: as in `peakStrip`.
 */
export function combineStrip(
  levels: usize, count: i32, width: i32, height: i32, frames: i32, unit: f32, fractionBits: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const stride = strideOf(levels, 0);
  const y1 = min(height, (strip + 1) * stripRows);
  for (let y = strip * stripRows; y < y1; y++) {
    const row = (usize(y) * stride) << 1;
    const places = planeOf(levels, 0, 3) + row;
    const weights = planeOf(levels, 0, 4) + row;
    const gaps = planeOf(levels, 0, 8) + row;
    clearEnds(weights, width);
    for (let x = 0; x < width; x++) {
      let sum: f32 = 0;
      let sumPlace: f32 = 0;
      let base: f32 = 0;
      let gap = 0;
      for (let level = 0; level < count; level++) {
        const q = (usize(y >> level) * strideOf(levels, level) + usize(x >> level)) << 1;
        const stored = i32(load<u16>(planeOf(levels, level, 2) + q));
        const weight = f32(stored & ~gapBit);
        const isTruncated = stored == gapBit;
        if (weight == 0 && (!isTruncated || sum > 0)) continue;
        let place = placeAt(load<u16>(planeOf(levels, level, 1) + q), fractionBits);
        if (sum == 0) {
          const rise = f32(load<u16>(planeOf(levels, level, 0) + q));
          const least = level == 0 ? leastRiseFinest : leastRise;
          if (rise < least * octave) continue;
          const sure = count == 1 ? least : level == 0 ? sureRiseFinest : sureRise;
          if (rise < sure * octave && !isSupported(levels, count, level, x, y, width, height, place, rise, unit, fractionBits)) continue;
          if (isTruncated) {
            gap = truncatedCurve;
            break;
          }
          // Far beyond an end the curve falls slowly: without fine detail its slope says less than its direction.
          if (level > 1 && place < 1) place = min<f32>(place, 0);
          if (level > 1 && place > f32(frames)) place = max<f32>(place, f32(frames + 1));
          base = place;
          sum = weight;
          sumPlace = weight * base;
          gap = stored & gapBit;
        } else if (Mathf.abs(place - base) < sameSurface * unit) {
          sum += weight * coarserSay;
          sumPlace += weight * coarserSay * place;
        }
      }
      const at = usize(x) << 1;
      store<u16>(places + at, sum > 0 ? placeCode(sumPlace / sum, fractionBits) : 0);
      store<u16>(weights + at, min(32767, i32(sum + 0.5)));
      store<u16>(gaps + at, gap);
    }
  }
}

/** Zero weight in the row ends: what lies beyond the picture is unknown. */
// @ts-ignore: decorator
@inline
function clearEnds(row: usize, width: i32): void {
  memory.fill(row - 32, 0, 32);
  memory.fill(row + (usize(width) << 1), 0, 32);
}

// @ts-ignore: decorator
@inline
function four(p: usize): v128 {
  return v128.convert<i32>(v128.extend_low<u16>(v128.load64_zero(p)));
}

/** Taps of the smoothing: [1 4 6 4 1] / 16. */
// @ts-ignore: decorator
@inline
function tap(i: i32): f32 {
  return i == 0 ? 0.375 : i == 1 || i == -1 ? 0.25 : 0.0625;
}

/**
 * One pass of edge-avoiding smoothing with holes of `step` pixels between its 5 x 5 taps, after Dammertz et
 * al., "Edge-avoiding A-Trous wavelet transform" (HPG 2010): neighbours count by their weight and by how near
 * their place is (`tolerance`, frames). The new weight falls where the neighbours disagree. Rows of one strip;
 * planes of one stride, step at most 6.
 */
export function smoothStrip(
  places: usize, weights: usize, outPlaces: usize, outWeights: usize, stride: i32, width: i32, height: i32,
  step: i32, tolerance: f32, fractionBits: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const unit = f32x4.splat(1 / (tolerance * tolerance * unitsPerFrame(fractionBits) * unitsPerFrame(fractionBits)));
  const zero = f32x4.splat(0);
  const one = f32x4.splat(1);
  const half = f32x4.splat(0.5);
  const tiny = f32x4.splat(1e-20);
  const y1 = min(height, (strip + 1) * stripRows);
  for (let y = strip * stripRows; y < y1; y++) {
    const row = (usize(y) * usize(stride)) << 1;
    clearEnds(outWeights + row, width);
    for (let x = 0; x < width; x += 4) {
      const at = row + (usize(x) << 1);
      const here = four(places + at);
      // Lanes whose own place is unknown take every neighbour as alike.
      const strictness = v128.and(unit, v128.gt<f32>(four(weights + at), zero));
      let sum = zero;
      let sumPlace = zero;
      let all = zero;
      for (let j = -2; j <= 2; j++) {
        const yy = y + j * step;
        if (yy < 0 || yy >= height) continue;
        const other = ((usize(yy) * usize(stride)) << 1) + (usize(x) << 1);
        for (let i = -2; i <= 2; i++) {
          const q = other + (isize(i * step) << 1);
          const share = v128.mul<f32>(f32x4.splat(tap(j) * tap(i)), four(weights + q));
          const place = four(places + q);
          const difference = v128.sub<f32>(place, here);
          const apart = v128.mul<f32>(v128.mul<f32>(difference, difference), strictness);
          const alike = v128.div<f32>(share, v128.add<f32>(one, v128.mul<f32>(apart, apart)));
          all = v128.add<f32>(all, share);
          sum = v128.add<f32>(sum, alike);
          sumPlace = v128.add<f32>(sumPlace, v128.mul<f32>(alike, place));
        }
      }
      const some = v128.gt<f32>(sum, zero);
      const mean = v128.div<f32>(sumPlace, v128.max<f32>(sum, tiny));
      const weight = v128.div<f32>(v128.mul<f32>(sum, sum), v128.max<f32>(all, tiny));
      const place = v128.add<f32>(v128.bitselect(mean, here, some), half);
      storeFour(outPlaces + at, v128.trunc_sat<i32>(place), x, width);
      storeFour(outWeights + at, v128.trunc_sat<i32>(v128.add<f32>(weight, half)), x, width);
    }
  }
}

/** Four u16 from i32 lanes below 65536; columns past the width are left alone. */
// @ts-ignore: decorator
@inline
function storeFour(p: usize, lanes: v128, x: i32, width: i32): void {
  if (x + 4 <= width) {
    v128.store64_lane(p, i16x8.shuffle(lanes, lanes, 0, 2, 4, 6, 0, 2, 4, 6), 0);
    return;
  }
  store<u16>(p, i32x4.extract_lane(lanes, 0));
  if (x + 1 < width) store<u16>(p, i32x4.extract_lane(lanes, 1), 2);
  if (x + 2 < width) store<u16>(p, i32x4.extract_lane(lanes, 2), 4);
}

/** Confidence 1 in the planes that fill unknown places. */
const full: i32 = 32768;

/**
 * A map of half the size for push and pull: places by weighted mean, confidence 0..32768 summed and cut at 1. The
 * finest map's confidence is its weight over `fullWeight` (in stored units; 0 = the plane holds confidence).
 * Rows of one strip of the coarser map.
 */
export function pushStrip(
  places: usize, weights: usize, stride: i32, width: i32, height: i32, fullWeight: i32,
  outPlaces: usize, outWeights: usize, outStride: i32, outWidth: i32, outHeight: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(outHeight, (strip + 1) * stripRows);
  for (let y = strip * stripRows; y < y1; y++) {
    const out = (usize(y) * usize(outStride)) << 1;
    for (let x = 0; x < outWidth; x++) {
      let sum = 0;
      let sumPlace: i64 = 0;
      for (let j = 0; j < 2; j++) {
        const yy = 2 * y + j;
        if (yy >= height) break;
        for (let i = 0; i < 2; i++) {
          const xx = 2 * x + i;
          if (xx >= width) break;
          const q = (usize(yy) * usize(stride) + usize(xx)) << 1;
          const weight = confidenceOf(i32(load<u16>(weights + q)), fullWeight);
          sum += weight;
          sumPlace += i64(weight) * i64(load<u16>(places + q));
        }
      }
      store<u16>(outPlaces + out + (usize(x) << 1), sum > 0 ? i32((sumPlace + (sum >> 1)) / i64(sum)) : 0);
      store<u16>(outWeights + out + (usize(x) << 1), min(full, sum));
    }
  }
}

// @ts-ignore: decorator
@inline
function confidenceOf(weight: i32, fullWeight: i32): i32 {
  return fullWeight == 0 ? weight : min(full, (weight << 15) / fullWeight);
}

/**
 * Places everywhere: where the confidence falls below 1 the coarser map, itself filled, stands in (push and pull,
 * Gortler et al., "The Lumigraph", SIGGRAPH 1996). In place; rows of one strip of the finer map.
 */
export function pullStrip(
  places: usize, weights: usize, stride: i32, width: i32, height: i32, fullWeight: i32,
  coarse: usize, coarseStride: i32, coarseWidth: i32, coarseHeight: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  for (let y = strip * stripRows; y < y1; y++) {
    const row = (usize(y) * usize(stride)) << 1;
    // Fine pixel y lies between coarse ones at y / 2 - 1/4: quarters of the nearer and the farther one.
    const own = min(coarseHeight - 1, y >> 1);
    const other = max(0, min(coarseHeight - 1, (y >> 1) + (y & 1 ? 1 : -1)));
    const ownRow = coarse + ((usize(own) * usize(coarseStride)) << 1);
    const otherRow = coarse + ((usize(other) * usize(coarseStride)) << 1);
    for (let x = 0; x < width; x++) {
      const at = row + (usize(x) << 1);
      const confidence = confidenceOf(i32(load<u16>(weights + at)), fullWeight);
      if (confidence >= full) continue;
      const a = usize(min(coarseWidth - 1, x >> 1)) << 1;
      const b = usize(max(0, min(coarseWidth - 1, (x >> 1) + (x & 1 ? 1 : -1)))) << 1;
      const filled =
        9 * i32(load<u16>(ownRow + a)) + 3 * i32(load<u16>(ownRow + b)) +
        3 * i32(load<u16>(otherRow + a)) + i32(load<u16>(otherRow + b));
      const place = i32(load<u16>(places + at));
      // In 1/16 of a place step times 1/32768: below 2^36, so in 64 bits.
      const mixed = i64(confidence) * i64(place * 16) + i64(full - confidence) * i64(filled);
      store<u16>(places + at, i32((mixed + (i64(full) << 3)) / (i64(full) << 4)));
    }
  }
}

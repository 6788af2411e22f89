// From focus curves to one surface, all in u16 planes.
//
// Places along the stack are kept as (ordinal + 4) * 64: 1/64 frame, 0 = unknown; the offset holds places before
// the first frame. Weights are inverse variances, 1/frame^2, times 64. The planes of the focus-curve state (see
// focus.ts) are overwritten once they have served:
//   every level:  0 rise of the peak over noise, code steps;  1 its place;  2 its weight, bit 15 = the curve falls
//                 too far between two frames
//   level 0:      3, 4 place and weight of the surface;  5, 7 the same during smoothing;  8 bit 15 of plane 2
//   level 0: 9, others: 5   ordinal of the nearer peak where it stands out, see `strandOf`; 0 = none
//
// A level table holds three u32 a level, finest first: address of plane 0, bytes from plane to plane, stride.

/** Code steps of the measure in one octave. */
const octave: f32 = 512;
const placeUnit: f32 = 64;
const placeOffset: f32 = 4;
const weightUnit: f32 = 64;
/** Bit of a weight that says that the steps are too coarse here. */
const gapBit: i32 = 0x8000;

/** Even a perfect curve places its peak no better than this, frames: steps are uneven, curves not Gaussian. */
const placeFloor: f32 = 0.1;
/** Bend of a focus curve at its peak where only one side is seen, octaves a frame squared. */
const usualBend: f32 = 0.5;
/** Octaves by which a curve may fall from its interpolated peak to its best frame before a step is too coarse. */
const gapFall: f32 = 0.35;
/** Across a step of this many usual ones or more a curve falls too far for a parabola through its logarithm. */
const longStep: f32 = 1.45;
/** Across a step of this many usual ones or more a sample counts only when it stands so far above noise, octaves. */
const farStep: f32 = 2.4;
const acrossRise: f32 = 1;
/** A second peak counts when it stands this far above noise, octaves. */
const secondRise: f32 = 1;
/** A coarser level speaks for a peak at most this far from its own, frames. */
const sameVote: f32 = 2;
/**
 * Octaves in favour of the farther of two peaks: about a sharp edge the window of the measure carries the nearer one
 * outward, while the farther one shows through a blurred edge only in part.
 */
const fartherVote: f32 = 0.6;
/** A nearer peak may be fainter than the best by this much and still be something: octaves. */
const strandFaintest: f32 = 3;
/** Weight of a peak that is known to the whole frame only, 1/frame^2. */
const wholeFrameWeight: f32 = 5;

// @ts-ignore: decorator
@inline
function planeOf(levels: usize, level: i32, plane: usize): usize {
  const entry = levels + usize(level) * 12;
  return usize(load<u32>(entry)) + plane * usize(load<u32>(entry, 4));
}

// @ts-ignore: decorator
@inline
function strideOf(levels: usize, level: i32): usize {
  return usize(load<u32>(levels + usize(level) * 12, 8));
}

// @ts-ignore: decorator
@inline
function placeCode(place: f32): i32 {
  return max(1, i32(Mathf.floor((place + placeOffset) * placeUnit + 0.5)));
}

// @ts-ignore: decorator
@inline
function placeAt(code: u16): f32 {
  return f32(code) * (1 / placeUnit) - placeOffset;
}

/** 2^x for 0 <= x < 100, to 2e-6 of it: our own least-squares fit. */
// @ts-ignore: decorator
@inline
function exp2(x: f32): f32 {
  const whole = i32(x);
  const t = x - f32(whole);
  const poly: f32 = 0.69314718 + t * (0.24021378 + t * (0.05562563 + t * (0.00925235 + t * 0.00175987)));
  return reinterpret<f32>((whole + 127) << 23) * (1 + t * poly);
}

/** Step from a frame to the next, in usual steps; `steps` holds one f32 by ordinal, 1 before the first and after the last. */
// @ts-ignore: decorator
@inline
function stepAfter(steps: usize, ordinal: i32): f32 {
  return load<f32>(steps + (usize(ordinal) << 2));
}

/**
 * Octaves by which the peak of each coarser level speaks for the one of two peaks that it agrees with: in the
 * proportions of a logistic regression on rendered scenes, smaller, which keeps hairs before a far texture.
 */
// @ts-ignore: decorator
@inline
function voteOf(level: i32): f32 {
  return level == 1 ? 0.8 : level == 2 ? 1.2 : 1;
}

/** Octaves above noise from which the nearer of two peaks counts: noise makes peaks too, most at the finest level. */
// @ts-ignore: decorator
@inline
function strandRise(level: i32): f32 {
  return level == 0 ? 5 : level == 1 ? 4 : 3;
}

/**
 * The nearer of two peaks, where it stands out: something thin before what the pixel mostly shows. rises: code steps
 * above noise. Returns its ordinal, or 0.
 */
// @ts-ignore: decorator
@inline
function strandOf(level: i32, ordinal: i32, rise: i32, rival: i32, rivalRise: i32, nearSign: i32): i32 {
  const isRival = rival > 0 && (rival - ordinal) * nearSign < 0;
  const own = f32(isRival ? rivalRise : rise) * (1 / octave);
  if (own < strandRise(level) || own < f32(rise) * (1 / octave) - strandFaintest) return 0;
  return isRival ? rival : ordinal;
}

/**
 * Peaks of one level, rows of one strip: by parabola through the log measure of the best frame and its neighbours,
 * which is the Gaussian interpolation of Nayar & Nakagawa (PAMI 16(8), 1994), with the variance that the noise
 * gives it. The frames may lie at uneven distances: `steps`, see `stepAfter`. Where a step is long, the parabola goes
 * through measure^(-1/2), which follows a focus curve far out as well: measure ~ (1 + (distance / width)^2)^-2.
 *
 * Beside depth edges a curve has two peaks: a sharp far texture shows through the blurred rim of what is before
 * it, and the window of the measure carries the rim's own detail outward. Which of them is the pixel's own, the
 * coarser levels know better: their windows reach beyond the blur. So level 0 comes last, and they vote there.
 *
 * noise: eight i32, codes that noise alone reaches by brightness. errors: f32 by rise in 1/16 octave, 512 of them:
 * relative error of an energy, octaves. nearSign: 1 when nearer means a lower ordinal, -1 higher, 0 unknown.
 */
export function peakStrip(
  levels: usize, count: i32, level: i32, width: i32, height: i32,
  luma: usize, lumaStride: i32, fullWidth: i32, fullHeight: i32,
  noise: usize, errors: usize, nearSign: i32, steps: usize, stripRows: i32, strip: i32, scratch: usize,
): void {
  const stride = strideOf(levels, level);
  const y1 = min(height, (strip + 1) * stripRows);
  for (let y = strip * stripRows; y < y1; y++) {
    const row = (usize(y) * stride) << 1;
    const lumaRow = luma + (usize(min(fullHeight - 1, y << level)) * usize(lumaStride) << 1);
    const bests = planeOf(levels, level, 0) + row;
    const befores = planeOf(levels, level, 1) + row;
    const afters = planeOf(levels, level, 2) + row;
    const seconds = planeOf(levels, level, 5) + row;
    const ordinals = planeOf(levels, level, 6) + row;
    const secondOrdinals = planeOf(levels, level, 7) + row;
    const strands = planeOf(levels, level, level == 0 ? 9 : 5) + row;
    for (let x = 0; x < width; x++) {
      const at = usize(x) << 1;
      const ordinal = i32(load<u16>(ordinals + at));
      if (ordinal == 0) {
        store<u16>(bests + at, 0);
        store<u16>(befores + at, 0);
        store<u16>(afters + at, 0);
        store<u16>(strands + at, 0);
        continue;
      }
      const bright = i32(load<u16>(lumaRow + (usize(min(fullWidth - 1, x << level)) << 1)));
      const floor = load<i32>(noise + (usize(min(7, (bright * 8) >> 14)) << 2));
      const best = i32(load<u16>(bests + at));
      const rise = best - floor;

      const rival = i32(load<u16>(secondOrdinals + at));
      const rivalRise = i32(load<u16>(seconds + at)) - floor;
      store<u16>(strands + at, strandOf(level, ordinal, rise, rival, rivalRise, nearSign));
      if (level == 0 && rival > 0 && f32(rivalRise) > secondRise * octave) {
        const farther = f32(rival > ordinal ? -nearSign : nearSign);
        let lead = f32(rise - rivalRise) * (1 / octave) + farther * fartherVote;
        for (let l = 1; l < count; l++) {
          const q = (usize(y >> l) * strideOf(levels, l) + usize(x >> l)) << 1;
          if ((i32(load<u16>(planeOf(levels, l, 2) + q)) & ~gapBit) == 0) continue;
          const coarser = placeAt(load<u16>(planeOf(levels, l, 1) + q));
          if (Mathf.abs(coarser - f32(ordinal)) <= sameVote) lead += voteOf(l);
          else if (Mathf.abs(coarser - f32(rival)) <= sameVote) lead -= voteOf(l);
        }
        if (lead < 0) {
          store<u16>(bests + at, rivalRise);
          store<u16>(befores + at, placeCode(f32(rival)));
          store<u16>(afters + at, i32(wholeFrameWeight * weightUnit));
          continue;
        }
      }

      const behind = stepAfter(steps, ordinal - 1);
      const ahead = stepAfter(steps, ordinal);
      let before = i32(load<u16>(befores + at));
      let after = i32(load<u16>(afters + at));
      const across = floor + i32(acrossRise * octave);
      if (behind >= farStep && before < across) before = 0;
      if (ahead >= farStep && after < across) after = 0;
      const up = f32(best - before);
      const down = f32(best - after);
      let bend: f32 = (2.0 * (up / behind + down / ahead)) / ((behind + ahead) * octave);
      /** From the best frame to the peak, usual steps. */
      let shift: f32 = 0;
      if (before > 0 && after > 0) {
        if (bend > 0) {
          const isLong = max<f32>(behind, ahead) >= longStep;
          const left = (isLong ? exp2(up / (2 * octave)) - 1 : up) / behind;
          const right = (isLong ? exp2(down / (2 * octave)) - 1 : down) / ahead;
          shift = (0.5 * (left * ahead - right * behind)) / (left + right);
          shift = max<f32>(-0.5 * behind, min<f32>(0.5 * ahead, shift));
        }
      } else {
        // At the end of the stack, or beside a gap, one side is missing: a curve of the usual bend through the other two.
        bend = usualBend;
        const step = after > 0 ? ahead : behind;
        const inner = (after > 0 ? down : before > 0 ? up : 0) / octave;
        const beyond = after > 0 ? behind : ahead;
        // Halfway across a long step the frame beyond it is the nearer one.
        const most: f32 = beyond < longStep ? 2 : min<f32>(2, 0.5 * beyond);
        const outward = max<f32>(-0.5 * step, min<f32>(most, inner / (bend * step) - 0.5 * step));
        shift = after > 0 ? -outward : before > 0 ? outward : 0;
      }
      const crossed = shift > 0 ? ahead : behind;
      store<u16>(bests + at, max(0, rise));
      store<u16>(befores + at, placeCode(f32(ordinal) + shift / crossed));
      if (rise <= 0) {
        store<u16>(afters + at, 0);
        continue;
      }
      const relative = load<f32>(errors + (usize(min(511, rise >> 5)) << 2));
      const deviation = relative / max<f32>(0.05, bend);
      const weight = i32(weightUnit / (deviation * deviation + placeFloor * placeFloor) + 0.5);
      // What lies in a long step is judged by its place, once that is smooth.
      const gap = crossed < longStep && 0.5 * bend * shift * shift > gapFall ? gapBit : 0;
      store<u16>(afters + at, max(1, weight) | gap);
    }
  }
}

/** A level speaks for a pixel when its peak stands this far above noise, octaves; the finest has most of the noise. */
const leastRise: f32 = 1.25;
const leastRiseFinest: f32 = 2;
/** A coarser level refines a finer one's place only where both mean the same surface, frames. */
const sameSurface: f32 = 1.2;
/** A coarser level's window is wider than what it refines, and bends with the subject: it has less of a say. */
const coarserSay: f32 = 0.2;

/**
 * Level 0's planes 3, 4 and 8 from the peaks of all levels, rows of one strip: the finest level that stands out of
 * the noise, refined by the coarser ones that agree with it. frames: their number.
 */
export function combineStrip(
  levels: usize, count: i32, width: i32, height: i32, frames: i32, stripRows: i32, strip: i32, scratch: usize,
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
        if (weight == 0) continue;
        let place = placeAt(load<u16>(planeOf(levels, level, 1) + q));
        if (sum == 0) {
          const least = level == 0 ? leastRiseFinest : leastRise;
          if (f32(load<u16>(planeOf(levels, level, 0) + q)) < least * octave) continue;
          // Far beyond an end the curve falls slowly: without fine detail its slope says less than its direction.
          if (level > 1 && place < 1) place = min<f32>(place, 0);
          if (level > 1 && place > f32(frames)) place = max<f32>(place, f32(frames + 1));
          base = place;
          sum = weight;
          sumPlace = weight * base;
          gap = stored & gapBit;
        } else if (Mathf.abs(place - base) < sameSurface) {
          sum += weight * coarserSay;
          sumPlace += weight * coarserSay * place;
        }
      }
      const at = usize(x) << 1;
      store<u16>(places + at, sum > 0 ? placeCode(sumPlace / sum) : 0);
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
  return v128.convert<u32>(v128.extend_low<u16>(v128.load64_zero(p)));
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
  step: i32, tolerance: f32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const unit = f32x4.splat(1 / (tolerance * tolerance * placeUnit * placeUnit));
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

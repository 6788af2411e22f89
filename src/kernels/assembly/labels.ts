// Supports averaged over neighbours, and the label of each pixel: see candidates.ts.
import { candidateAt, contestedBit, mostKept, supportAt, toneAt } from './candidates';
import { columnsInside, fourOf, octave, placeAt, planeOf, strideOf, unitsPerFrame } from './curve-state';

/** A neighbour's candidate supports one that lies less than this from it, units. */
const supportReach: f32 = 2.5;
/** Standard deviation of tones on one surface: noise, 0 to 255, and this part of the contrast around. */
const toneNoise: f32 = 10;
const tonePart: f32 = 0.8;

/** Two u16 of level 1, each for two pixels of level 0, as floats. */
// @ts-ignore: decorator
@inline
function twiceOf(p: usize): v128 {
  const two = v128.load32_zero(p);
  return v128.convert<i32>(i8x16.swizzle(two, i8x16(0, 1, -1, -1, 0, 1, -1, -1, 2, 3, -1, -1, 2, 3, -1, -1)));
}

// @ts-ignore: decorator
@inline
function byteOf(v: v128, shift: i32): v128 {
  return v128.convert<i32>(v128.and(i32x4.shr_u(v, shift), i32x4.splat(127)));
}

/** Taps of the averaging: [1 2 1] / 4. */
// @ts-ignore: decorator
@inline
function tap(i: i32): f32 {
  return i == 0 ? 0.5 : 0.25;
}

/** 1 at no distance, 0 from `reach` on: (1 - (d / reach)^2)^2. */
// @ts-ignore: decorator
@inline
function likeness(distance: v128, inverse: v128): v128 {
  const t = v128.mul<f32>(distance, inverse);
  const u = v128.max<f32>(f32x4.splat(0), v128.sub<f32>(f32x4.splat(1), v128.mul<f32>(t, t)));
  return v128.mul<f32>(u, u);
}

/** Taps of one candidate in scratch: support, squared difference of tone, weight of the tap. */
const tapBytes: usize = 48;
/** Four candidates: place, tone, sums of weights, tones and squares; then their nine taps. */
const headBytes: usize = 96;
const candidateBytes: usize = headBytes + 9 * tapBytes;

/**
 * One pass over the supports of contested pixels, with holes of `hole` pixels (even) between its 3 x 3 taps. A neighbour
 * counts by its tone in the frame of the candidate: its own candidate's near that place, or else that of its best peak at
 * level 1, whose window is the wider. Rows of one strip. scratch: 2 KB.
 */
export function aggregateStrip(
  levels: usize, count: i32, width: i32, height: i32, supports: usize, out: usize, supportStride: i32, hole: i32, unit: f32, fractionBits: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const zero = f32x4.splat(0);
  const one = f32x4.splat(1);
  const inverse = f32x4.splat(1 / (supportReach * unit * unitsPerFrame(fractionBits)));
  const lowByte = i32x4.splat(255);
  const stride = strideOf(levels, 0);
  const coarser = count > 1 ? 1 : 0;
  const coarseStride = strideOf(levels, coarser);
  const firsts = planeOf(levels, 0, 1);
  const seconds = planeOf(levels, 0, 7);
  const coarseFirsts = planeOf(levels, coarser, 1);
  const coarseSeconds = planeOf(levels, coarser, 7);
  const tones = planeOf(levels, 0, 9);
  const coarseTones = planeOf(levels, 0, count > 1 ? 10 : 9);
  for (let y = strip * stripRows; y < y1; y++) {
    const outRow = out + ((usize(y) * usize(supportStride)) << 2);
    memory.fill(outRow - 64, 0, 64);
    memory.fill(outRow + (usize(width) << 2), 0, 64);
    const supportRow = supports + ((usize(y) * usize(supportStride)) << 2);
    for (let x = 0; x < width; x += 4) {
      const own = v128.load(supportRow + (usize(x) << 2));
      if (!v128.any_true(v128.and(own, i32x4.splat(i32(contestedBit))))) {
        storeSupports(outRow, x, width, own);
        continue;
      }
      let active = 0;
      for (let n = 0; n < 4; n++) {
        const support = byteOf(own, n << 3);
        if (!v128.any_true(v128.gt<f32>(support, zero))) continue;
        active |= 1 << n;
        const head = scratch + usize(n) * candidateBytes;
        const level = n >> 1 ? coarser : 0;
        const row = planeOf(levels, level, n & 1 ? 7 : 1) + ((usize(y >> level) * (level ? coarseStride : stride)) << 1);
        v128.store(head, level ? twiceOf(row + usize(x)) : fourOf(row + (usize(x) << 1)));
        const pair = v128.extend_low<u16>(v128.load64_zero((n < 2 ? tones : coarseTones) + ((usize(y) * stride + usize(x)) << 1)));
        v128.store(head, v128.convert<i32>(n & 1 ? i32x4.shr_u(pair, 8) : v128.and(pair, lowByte)), 16);
        v128.store(head, zero, 32);
        v128.store(head, zero, 48);
        v128.store(head, zero, 64);
      }
      let taps = 0;
      const isInner = x >= hole && x + 4 + hole <= width;
      for (let j = -1; j <= 1; j++) {
        const yy = y + j * hole;
        if (yy < 0 || yy >= height) continue;
        const fineRow = (usize(yy) * stride) << 1;
        const coarseRow = (usize(yy >> coarser) * coarseStride) << 1;
        const from = supports + ((usize(yy) * usize(supportStride)) << 2);
        for (let i = -1; i <= 1; i++) {
          const xx = x + i * hole;
          const q = fineRow + (isize(xx) << 1);
          const r = coarseRow + (isize(xx >> coarser) << 1);
          const there = v128.load(from + (isize(xx) << 2));
          const s0 = byteOf(there, 0);
          const s1 = byteOf(there, 8);
          const s2 = byteOf(there, 16);
          const s3 = byteOf(there, 24);
          const z0 = fourOf(firsts + q);
          const z1 = fourOf(seconds + q);
          const z2 = coarser ? twiceOf(coarseFirsts + r) : z0;
          const z3 = coarser ? twiceOf(coarseSeconds + r) : z1;
          const pair = v128.extend_low<u16>(v128.load64_zero(tones + q));
          const coarsePair = v128.extend_low<u16>(v128.load64_zero(coarseTones + q));
          const t0 = v128.convert<i32>(v128.and(pair, lowByte));
          const t1 = v128.convert<i32>(i32x4.shr_u(pair, 8));
          const t2 = v128.convert<i32>(v128.and(coarsePair, lowByte));
          const t3 = v128.convert<i32>(i32x4.shr_u(coarsePair, 8));
          const has0 = v128.gt<f32>(s0, zero);
          const has1 = v128.gt<f32>(s1, zero);
          const has2 = v128.gt<f32>(s2, zero);
          const has3 = v128.gt<f32>(s3, zero);
          let weight = f32x4.splat(tap(i) * tap(j));
          if (!isInner) weight = v128.and(weight, columnsInside(xx, width));
          for (let n = 0; n < 4; n++) {
            if (!(active & (1 << n))) continue;
            const head = scratch + usize(n) * candidateBytes;
            const z = v128.load(head);
            const w0 = v128.and(has0, likeness(v128.sub<f32>(z0, z), inverse));
            const w1 = v128.and(has1, likeness(v128.sub<f32>(z1, z), inverse));
            const w2 = v128.and(has2, likeness(v128.sub<f32>(z2, z), inverse));
            const w3 = v128.and(has3, likeness(v128.sub<f32>(z3, z), inverse));
            const support = v128.add<f32>(
              v128.add<f32>(v128.mul<f32>(w0, s0), v128.mul<f32>(w1, s1)),
              v128.add<f32>(v128.mul<f32>(w2, s2), v128.mul<f32>(w3, s3)),
            );
            let tone = v128.bitselect(t0, t2, v128.gt<f32>(w0, zero));
            let nearest = w0;
            tone = v128.bitselect(t1, tone, v128.gt<f32>(w1, nearest));
            nearest = v128.max<f32>(w1, nearest);
            tone = v128.bitselect(t2, tone, v128.gt<f32>(w2, nearest));
            nearest = v128.max<f32>(w2, nearest);
            tone = v128.bitselect(t3, tone, v128.gt<f32>(w3, nearest));
            const apart = v128.sub<f32>(tone, v128.load(head, 16));
            const weighed = v128.mul<f32>(weight, apart);
            const kept = head + headBytes + usize(taps) * tapBytes;
            const squared = v128.mul<f32>(apart, apart);
            v128.store(kept, support);
            v128.store(kept, squared, 16);
            v128.store(kept, weight, 32);
            v128.store(head, v128.add<f32>(v128.load(head, 32), weight), 32);
            v128.store(head, v128.add<f32>(v128.load(head, 48), weighed), 48);
            v128.store(head, v128.add<f32>(v128.load(head, 64), v128.mul<f32>(weighed, apart)), 64);
          }
          taps++;
        }
      }
      let result = v128.and(own, i32x4.splat(i32(contestedBit)));
      for (let n = 0; n < 4; n++) {
        if (!(active & (1 << n))) continue;
        const head = scratch + usize(n) * candidateBytes;
        const sum = v128.load(head, 32);
        const mean = v128.div<f32>(v128.load(head, 48), sum);
        const variance = v128.max<f32>(zero, v128.sub<f32>(v128.div<f32>(v128.load(head, 64), sum), v128.mul<f32>(mean, mean)));
        const spread = v128.add<f32>(f32x4.splat(2 * toneNoise * toneNoise), v128.mul<f32>(f32x4.splat(2 * tonePart * tonePart), variance));
        const narrow = v128.div<f32>(one, spread);
        let total = zero;
        let weights = zero;
        for (let k = 0; k < taps; k++) {
          const kept = head + headBytes + usize(k) * tapBytes;
          const u = v128.mul<f32>(v128.load(kept, 16), narrow);
          const falls = v128.add<f32>(one, v128.add<f32>(u, v128.mul<f32>(u, u)));
          const w = v128.div<f32>(v128.load(kept, 32), v128.mul<f32>(falls, falls));
          total = v128.add<f32>(total, v128.mul<f32>(w, v128.load(kept)));
          weights = v128.add<f32>(weights, w);
        }
        // A candidate keeps at least one unit of support: zero would mean that there is none.
        const averaged = v128.max<f32>(one, v128.add<f32>(v128.div<f32>(total, weights), f32x4.splat(0.5)));
        const kept = i32x4.min_s(v128.trunc_sat<i32>(averaged), i32x4.splat(mostKept));
        const isOne = v128.gt<f32>(byteOf(own, n << 3), zero);
        result = v128.or(result, i32x4.shl(v128.and(kept, isOne), n << 3));
      }
      const isContested = i32x4.lt_s(own, i32x4.splat(0));
      storeSupports(outRow, x, width, v128.bitselect(result, own, isContested));
    }
  }
}

/** Four supports; columns past the width are left alone. */
// @ts-ignore: decorator
@inline
function storeSupports(row: usize, x: i32, width: i32, supports: v128): void {
  const at = row + (usize(x) << 2);
  if (x + 4 <= width) {
    v128.store(at, supports);
    return;
  }
  store<u32>(at, i32x4.extract_lane(supports, 0));
  if (x + 1 < width) store<u32>(at, i32x4.extract_lane(supports, 1), 4);
  if (x + 2 < width) store<u32>(at, i32x4.extract_lane(supports, 2), 8);
}

/** Below this averaged support nothing is seen: noise peaks too, but at another place in each pixel. 1/8 octave. */
const leastAveraged: i32 = 8;
/** A coarser level speaks where the two finest show nothing, when its peak stands this far above noise, octaves. */
const leastRise: f32 = 1.25;
/** Pixels of that level to either side, and how many of them must have the peak as well. */
const aroundReach: i32 = 3;
const fewestAround: i32 = 12;
const aroundRise: f32 = 0.9;
const aroundSame: f32 = 2;

/** Candidate of the most support, or -1; with little of it the pixel shows nothing. */
// @ts-ignore: decorator
@inline
function bestCandidate(supports: u32): i32 {
  let best = -1;
  let most = leastAveraged - 1;
  for (let n = 0; n < 4; n++) {
    const support = supportAt(supports, n);
    if (support > most) {
      most = support;
      best = n;
    }
  }
  return best;
}

/** First of the levels from 2 on whose peak at level 0's pixel is there and shared by the pixels around; 0 = none. */
function coarseLevel(levels: usize, count: i32, x: i32, y: i32, width: i32, height: i32, unit: f32, fractionBits: i32): i32 {
  for (let level = 2; level < count; level++) {
    const stride = strideOf(levels, level);
    const centreX = x >> level;
    const centreY = y >> level;
    const q = (usize(centreY) * stride + usize(centreX)) << 1;
    if (load<u16>(planeOf(levels, level, 2) + q) == 0 || f32(load<u16>(planeOf(levels, level, 0) + q)) < leastRise * octave) continue;
    const place = placeAt(load<u16>(planeOf(levels, level, 1) + q), fractionBits);
    let found = 0;
    for (let yy = max(0, centreY - aroundReach); yy <= min((height - 1) >> level, centreY + aroundReach); yy++) {
      for (let xx = max(0, centreX - aroundReach); xx <= min((width - 1) >> level, centreX + aroundReach); xx++) {
        const at = (usize(yy) * stride + usize(xx)) << 1;
        if (f32(load<u16>(planeOf(levels, level, 0) + at)) < aroundRise * octave) continue;
        if (Mathf.abs(placeAt(load<u16>(planeOf(levels, level, 1) + at), fractionBits) - place) <= aroundSame * unit) found++;
      }
    }
    if (found >= fewestAround) return level;
  }
  return 0;
}

/**
 * Label of each pixel, u16: the place of its candidate of the most support, 0 = it shows nothing; and two tones, in planes
 * of one stride: in the frame of the label (low byte), and in that of the best peak of level 1, whose window is the wider.
 * Rows of one strip.
 */
export function labelStrip(
  levels: usize, count: i32, width: i32, height: i32, supports: usize, supportStride: i32, labels: usize, tones: usize, labelStride: i32, unit: f32, fractionBits: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  for (let y = strip * stripRows; y < y1; y++) {
    const toneRow = tones + ((usize(y) * usize(labelStride)) << 1);
    const out = labels + ((usize(y) * usize(labelStride)) << 1);
    const from = supports + ((usize(y) * usize(supportStride)) << 2);
    for (let x = 0; x < width; x++) {
      const best = bestCandidate(load<u32>(from + (usize(x) << 2)));
      let place = 0;
      if (best >= 0) place = i32(load<u16>(candidateAt(levels, best, x, y)));
      else if (count > 2) {
        const level = coarseLevel(levels, count, x, y, width, height, unit, fractionBits);
        if (level > 0) place = i32(load<u16>(planeOf(levels, level, 1) + ((usize(y >> level) * strideOf(levels, level) + usize(x >> level)) << 1)));
      }
      store<u16>(out + (usize(x) << 1), place);
      store<u16>(toneRow + (usize(x) << 1), toneAt(levels, max(0, best), x, y) | (toneAt(levels, count > 1 ? 2 : 0, x, y) << 8));
    }
  }
}

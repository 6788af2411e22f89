// Which surface each pixel shows, of those that its focus curves have peaks at: see curve-state.ts for the planes.
//
// A pixel has up to four candidates: the two peaks of its curve at level 0 and the two at level 1. Beside a depth edge
// they disagree, for a sharp far texture shows through the blurred rim of what is before it, and the window of the
// measure carries the rim's detail outward. Two things tell which is the pixel's own:
//
// 1. Its neighbours. The support of a candidate, octaves over noise, is averaged over the pixels around that look like
//    this one in the frame in which the candidate is sharp: that frame is the best guide to the outline of what it shows.
//    (Edge-avoiding a-trous passes after Dammertz et al., HPG 2010, over supports as a cost volume is filtered by Hosni et
//    al., PAMI 35(2), 2013.)
// 2. The share alpha of the near surface in the pixel's tone, in the frame in which the near surface is sharp: between
//    its own tone and the mean of what is labelled farther around (the matting equation, Porter & Duff, SIGGRAPH 1984).
//
// Supports: four bytes a pixel in one u32, 1/8 octave, in the order of the candidates, bit 31 = contested: the best
// has little support, or another has some as well. Only contested pixels are averaged.
import { exp2 } from './common';
import { gapBit, octave, placeAt, placeCode, planeOf, strideOf, truncatedCurve, unitsPerFrame, weightUnit } from './curve-state';

/** Support counts from this far above noise, octaves: the best of many frames of noise reaches some of it. */
const leastSupport: f32 = 1;
/** Further above, a peak is sure. */
const mostSupport: f32 = 6;
const supportSteps: i32 = 8;
/** The most that seven bits keep of the supports of one candidate. */
const mostKept: i32 = 127;
/** Candidates this near to each other are one surface, units. */
const samePeak: f32 = 1.75;
/** A pixel is contested where the next candidate has more than this share of the best one's support. */
const contestedShare: f32 = 0.35;
/** A candidate with less than this share of the best one's support is none, percent. */
const droppedPercent: i32 = 25;
/** Support from which a candidate is believed without its neighbours, 1/8 octave: noise peaks lower. */
const sureSupport: i32 = 24;
/** Bit of the supports that says so. */
const contestedBit: u32 = 0x80000000;
/** Support that a neighbour gives to a candidate falls to nothing at this distance of its own, units. */
const supportReach: f32 = 2.5;
/** Tones differ by noise, 0 to 255, and by this part of the contrast around. */
const toneNoise: f32 = 10;
const tonePart: f32 = 0.8;

// @ts-ignore: decorator
@inline
function supportOf(rise: i32): i32 {
  return max(0, min(i32(mostSupport) * supportSteps, ((rise - i32(leastSupport * octave)) * supportSteps) >> 9));
}

// @ts-ignore: decorator
@inline
function supportAt(supports: u32, candidate: i32): i32 {
  return i32((supports >> (candidate << 3)) & 127);
}

/** Address of the place of a candidate at level 0's pixel. */
// @ts-ignore: decorator
@inline
function candidateAt(levels: usize, candidate: i32, x: i32, y: i32): usize {
  const level = candidate >> 1;
  return planeOf(levels, level, candidate & 1 ? 7 : 1) + ((usize(y >> level) * strideOf(levels, level) + usize(x >> level)) << 1);
}

/** Tone of a candidate in the frame in which it is sharp, 0 to 255. */
// @ts-ignore: decorator
@inline
function toneAt(levels: usize, candidate: i32, x: i32, y: i32): i32 {
  const tones = planeOf(levels, 0, candidate < 2 ? 9 : 10);
  return i32(load<u8>(tones + ((usize(y) * strideOf(levels, 0) + usize(x)) << 1) + usize(candidate & 1)));
}

/** Supports of the candidates of each pixel, rows of one strip. count: of levels. supports: u32 in rows of supportStride. */
export function gatherStrip(
  levels: usize, count: i32, width: i32, height: i32, supports: usize, supportStride: i32, unit: f32, fractionBits: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const same = i32(samePeak * unit * unitsPerFrame(fractionBits));
  for (let y = strip * stripRows; y < y1; y++) {
    const out = supports + ((usize(y) * usize(supportStride)) << 2);
    memory.fill(out - 64, 0, 64);
    memory.fill(out + (usize(width) << 2), 0, 64);
    const fine = (usize(y) * strideOf(levels, 0)) << 1;
    const coarse = count > 1 ? (usize(y >> 1) * strideOf(levels, 1)) << 1 : 0;
    const rises = planeOf(levels, 0, 0) + fine;
    const secondRises = planeOf(levels, 0, 5) + fine;
    const firsts = planeOf(levels, 0, 1) + fine;
    const seconds = planeOf(levels, 0, 7) + fine;
    const coarseRises = count > 1 ? planeOf(levels, 1, 0) + coarse : 0;
    const coarseSecondRises = count > 1 ? planeOf(levels, 1, 5) + coarse : 0;
    const coarseFirsts = count > 1 ? planeOf(levels, 1, 1) + coarse : 0;
    const coarseSeconds = count > 1 ? planeOf(levels, 1, 7) + coarse : 0;
    for (let x = 0; x < width; x++) {
      const at = usize(x) << 1;
      let s0 = supportOf(i32(load<u16>(rises + at)));
      let s1 = supportOf(i32(load<u16>(secondRises + at)));
      let s2 = 0;
      let s3 = 0;
      if (count > 1) {
        const q = usize(x >> 1) << 1;
        const z0 = i32(load<u16>(firsts + at));
        const z1 = i32(load<u16>(seconds + at));
        s2 = supportOf(i32(load<u16>(coarseRises + q)));
        s3 = supportOf(i32(load<u16>(coarseSecondRises + q)));
        // What both levels show is one candidate.
        const z2 = i32(load<u16>(coarseFirsts + q));
        const z3 = i32(load<u16>(coarseSeconds + q));
        if (s2 > 0) {
          if (s0 > 0 && abs(z2 - z0) < same) { s0 = min(mostKept, s0 + s2); s2 = 0; }
          else if (s1 > 0 && abs(z2 - z1) < same) { s1 = min(mostKept, s1 + s2); s2 = 0; }
        }
        if (s3 > 0) {
          if (s0 > 0 && abs(z3 - z0) < same) { s0 = min(mostKept, s0 + s3); s3 = 0; }
          else if (s1 > 0 && abs(z3 - z1) < same) { s1 = min(mostKept, s1 + s3); s3 = 0; }
        }
      }
      const top = max(max(s0, s1), max(s2, s3));
      const dropped = (top * droppedPercent) / 100;
      if (s0 < dropped) s0 = 0;
      if (s1 < dropped) s1 = 0;
      if (s2 < dropped) s2 = 0;
      if (s3 < dropped) s3 = 0;
      const low = min(max(s0, s1), max(s2, s3));
      const next = max(low, max(min(s0, s1), min(s2, s3)));
      const contested = f32(next) > contestedShare * f32(top) || (top > 0 && top < sureSupport) ? contestedBit : 0;
      store<u32>(out + (usize(x) << 2), contested | u32(s0 | (s1 << 8) | (s2 << 16) | (s3 << 24)));
    }
  }
}

/** Four u16 beside each other, as floats. */
// @ts-ignore: decorator
@inline
function fourOf(p: usize): v128 {
  return v128.convert<i32>(v128.extend_low<u16>(v128.load64_zero(p)));
}

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
  const lanes = i32x4(0, 1, 2, 3);
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
          if (!isInner) {
            const column = i32x4.add(i32x4.splat(xx), lanes);
            weight = v128.and(weight, v128.and(i32x4.ge_s(column, i32x4.splat(0)), i32x4.lt_s(column, i32x4.splat(width))));
          }
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
        // A candidate stays one, however few speak for it.
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
    if (found >= fewestAround && !isFinerNear(levels, level, x, y, width, height, place, unit, fractionBits)) return level;
  }
  return 0;
}

/** Pixels of a coarse level that its window reaches, and detail of level 1 in it that makes the coarse peak, octaves. */
const coarseWindow: f32 = 2.5;
const finerRise: f32 = 2;

/** Whether level 1 has detail at the place within the window of a coarse level: then it is that, spread over the window. */
function isFinerNear(
  levels: usize, level: i32, x: i32, y: i32, width: i32, height: i32, place: f32, unit: f32, fractionBits: i32,
): bool {
  const reach = i32(coarseWindow * f32(1 << (level - 1)));
  const stride = strideOf(levels, 1);
  for (let yy = max(0, (y >> 1) - reach); yy <= min((height - 1) >> 1, (y >> 1) + reach); yy++) {
    for (let xx = max(0, (x >> 1) - reach); xx <= min((width - 1) >> 1, (x >> 1) + reach); xx++) {
      const at = (usize(yy) * stride + usize(xx)) << 1;
      if (f32(load<u16>(planeOf(levels, 1, 0) + at)) < finerRise * octave) continue;
      if (Mathf.abs(placeAt(load<u16>(planeOf(levels, 1, 1) + at), fractionBits) - place) <= aroundSame * unit) return true;
    }
  }
  return false;
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

/** Labels farther apart are two surfaces, units; nearer than `sameSurface` they are one. */
const apartSurfaces: f32 = 2;
const sameSurface: f32 = 1.5;
/** A near surface is one that a label within so many pixels names; its own tone, and what lies behind it, are sought farther. */
const frontReach: i32 = 3;
const reachPx: i32 = 7;
const fewestBehind: i32 = 4;
/** Noise of a tone, 0 to 255. */
const alphaNoise: f32 = 2.2;
/** Contrast over noise and texture of what is behind counts up to this. */
const mostContrast: f32 = 8;
/**
 * Logarithm of the odds for the near surface: alpha - 1/2, times contrast, times the share of what lies around that is
 * behind; and the logarithm of the ratio of the supports. Logistic regression on the scenes for tuning.
 */
const alphaOdds: f32 = 1.77;
const supportOdds: f32 = 0.67;
/** Added to both supports, 1/8 octave. */
const supportFloor: f32 = 0.8;
/** Weight of a place that is known to the whole frame, where its support is sure, and of one that only its neighbours tell, 1/unit^2. */
const wholeFrameWeight: f32 = 5;
const toldWeight: f32 = 1.25;
/** A coarser level refines a place within so many units, and has so much of a say: its window bends with the subject. */
const refinedWithin: f32 = 1.2;
const coarserSay: f32 = 0.2;
const discPixels: f32 = 77;

/** Half the width of a disc of `reachPx` pixels, an even number of rows from its centre. */
// @ts-ignore: decorator
@inline
function halfWidth(j: i32): i32 {
  return j == 0 ? 7 : j == 2 || j == -2 ? 6 : j == 4 || j == -4 ? 5 : 3;
}

/** Whether a label close by means a place. */
function isNamed(labels: usize, labelStride: i32, x: i32, y: i32, width: i32, height: i32, place: i32, same: i32): bool {
  for (let yy = max(0, y - frontReach); yy <= min(height - 1, y + frontReach); yy++) {
    for (let xx = max(0, x - frontReach); xx <= min(width - 1, x + frontReach); xx++) {
      if ((xx - x) * (xx - x) + (yy - y) * (yy - y) > frontReach * frontReach) continue;
      if (abs(i32(load<u16>(labels + ((usize(yy) * usize(labelStride) + usize(xx)) << 1))) - place) < same) return true;
    }
  }
  return false;
}

/** Label of the pixel nearest to (x, y) that is behind `front` or shows nothing. */
function labelBehind(labels: usize, labelStride: i32, x: i32, y: i32, width: i32, height: i32, front: i32, apart: i32, nearSign: i32): i32 {
  let nearest = 1 << 20;
  let nearestApart = 1 << 20;
  let label = 0;
  for (let yy = max(0, y - reachPx); yy <= min(height - 1, y + reachPx); yy++) {
    for (let xx = max(0, x - reachPx); xx <= min(width - 1, x + reachPx); xx++) {
      const away = (xx - x) * (xx - x) + (yy - y) * (yy - y);
      if (away > nearest || away > reachPx * reachPx) continue;
      const there = i32(load<u16>(labels + ((usize(yy) * usize(labelStride) + usize(xx)) << 1)));
      if (there != 0 && (there - front) * nearSign <= apart) continue;
      // At one distance what is known tells, and the nearest to the front: the order of the pixels says nothing.
      const thereApart = there == 0 ? 1 << 20 : (there - front) * nearSign;
      if (away == nearest && thereApart >= nearestApart) continue;
      nearest = away;
      nearestApart = thereApart;
      label = there;
    }
  }
  return label;
}

/**
 * Near surface or what is behind it: the place that a pixel with labels of both around belongs to, or its own label where
 * there is nothing to decide. 0 = what is behind shows nothing.
 */
function decidePlace(
  levels: usize, count: i32, x: i32, y: i32, width: i32, height: i32, label: i32, labels: usize, tones: usize, labelStride: i32,
  supports: usize, supportStride: i32, nearSign: i32, unit: f32, fractionBits: i32,
): i32 {
  const own = load<u32>(supports + ((usize(y) * usize(supportStride) + usize(x)) << 2));
  if ((own & ~contestedBit) == 0) return label;
  const perUnit = unit * unitsPerFrame(fractionBits);
  const same = i32(sameSurface * perUnit);
  const apart = i32(apartSurfaces * perUnit);
  let near = -1;
  let front = 0;
  for (let n = 0; n < 4; n++) {
    if (supportAt(own, n) == 0) continue;
    const place = i32(load<u16>(candidateAt(levels, n, x, y)));
    if (abs(label - place) >= same || (near >= 0 && (place - front) * nearSign >= 0)) continue;
    near = n;
    front = place;
  }
  for (let n = 0; n < 4; n++) {
    if (supportAt(own, n) == 0) continue;
    const place = i32(load<u16>(candidateAt(levels, n, x, y)));
    if (near >= 0 && (place - front) * nearSign >= 0) continue;
    if (!isNamed(labels, labelStride, x, y, width, height, place, same)) continue;
    near = n;
    front = place;
  }
  if (near < 0) return label;

  // Tones of what is behind, and the extremes of those of the front, over every other row of a disc, sixteen columns at once.
  const wideFront = i16x8.splat(i16(front));
  const closer = i16x8.splat(i16(same - 1));
  const farther = i16x8.splat(i16(apart));
  const lowByte = i16x8.splat(255);
  const lanes = i16x8(-7, -6, -5, -4, -3, -2, -1, 0);
  let counts = i16x8.splat(0);
  let sums = i16x8.splat(0);
  let squareSums = i32x4.splat(0);
  let low = i16x8.splat(255);
  let high = i16x8.splat(0);
  let lowest = i16x8.splat(-1);
  let highest = i16x8.splat(0);
  for (let j = 1 - reachPx; j < reachPx; j += 2) {
    if (y + j < 0 || y + j >= height) continue;
    const half = halfWidth(j);
    const least = i16x8.splat(i16(max(-half, -x)));
    const most = i16x8.splat(i16(min(half, width - 1 - x)));
    const at = (usize((y + j) * labelStride) << 1) + (isize(x - 7) << 1);
    for (let part = 0; part < 2; part++) {
      const columns = i16x8.add(lanes, i16x8.splat(i16(8 * part)));
      const inside = v128.and(i16x8.ge_s(columns, least), i16x8.le_s(columns, most));
      const label8 = v128.load(labels + at + (usize(part) << 4));
      const pair = v128.load(tones + at + (usize(part) << 4));
      lowest = v128.bitselect(i16x8.min_u(lowest, label8), lowest, inside);
      highest = v128.bitselect(i16x8.max_u(highest, label8), highest, inside);
      const above = i16x8.sub_sat_u(label8, wideFront);
      const below = i16x8.sub_sat_u(wideFront, label8);
      const isFront = v128.and(inside, i16x8.le_u(v128.or(above, below), closer));
      const isBehind = v128.and(inside, v128.or(i16x8.gt_u(nearSign > 0 ? above : below, farther), i16x8.eq(label8, i16x8.splat(0))));
      const tone = v128.and(isBehind, i16x8.shr_u(pair, 8));
      counts = i16x8.sub(counts, isBehind);
      sums = i16x8.add(sums, tone);
      squareSums = i32x4.add(squareSums, i32x4.dot_i16x8_s(tone, tone));
      const own = v128.and(pair, lowByte);
      low = v128.bitselect(i16x8.min_u(low, own), low, isFront);
      high = v128.bitselect(i16x8.max_u(high, own), high, isFront);
    }
  }
  const behind = sumOf(counts);
  // As in `isEdge`, which asks for eight pixels at once.
  if (behind < fewestBehind || mostOf(highest) - leastOf(lowest) <= apart) return label;
  const mean = f32(sumOf(sums)) / f32(behind);
  const squares = f32(i32x4.extract_lane(squareSums, 0) + i32x4.extract_lane(squareSums, 1) + i32x4.extract_lane(squareSums, 2) + i32x4.extract_lane(squareSums, 3));
  const texture = max<f32>(0, squares / f32(behind) - mean * mean);
  const darkest = f32(leastOf(low));
  const brightest = f32(mostOf(high));
  // The front's own tone is the one that differs most from what is behind: the others are mixtures.
  let contrast: f32 = 0;
  if (darkest <= brightest) contrast = brightest - mean > mean - darkest ? brightest - mean : darkest - mean;
  let back = -1;
  let backSupport = 0;
  let nearSupport = supportAt(own, near);
  for (let n = 0; n < 4; n++) {
    const support = supportAt(own, n);
    if (support == 0 || n == near) continue;
    const place = i32(load<u16>(candidateAt(levels, n, x, y)));
    if (abs(place - front) < same) nearSupport += support;
    else if ((place - front) * nearSign > apart && support > backSupport) {
      back = place;
      backSupport = support;
    }
  }
  if (back < 0) back = labelBehind(labels, labelStride, x, y, width, height, front, apart, nearSign);
  let odds = supportOdds * (ln(f32(nearSupport) + supportFloor) - ln(f32(backSupport) + supportFloor));
  if (contrast != 0) {
    const alpha = (f32(toneAt(levels, near, x, y)) - mean) / contrast;
    const clarity = min<f32>(mostContrast, Mathf.abs(contrast) / Mathf.sqrt(texture + alphaNoise * alphaNoise));
    odds += alphaOdds * (max<f32>(-0.5, min<f32>(1.5, alpha)) - 0.5) * clarity * (f32(behind) / discPixels);
  }
  if (odds > 0) return abs(label - front) < same ? label : front;
  return label != 0 && abs(label - back) <= apart && (label - front) * nearSign > same ? label : back;
}

// @ts-ignore: decorator
@inline
function sumOf(v: v128): i32 {
  const four = i32x4.extadd_pairwise_i16x8_u(v);
  return i32x4.extract_lane(four, 0) + i32x4.extract_lane(four, 1) + i32x4.extract_lane(four, 2) + i32x4.extract_lane(four, 3);
}

// @ts-ignore: decorator
@inline
function leastOf(v: v128): i32 {
  const a = i16x8.min_u(v, i16x8.shuffle(v, v, 4, 5, 6, 7, 0, 1, 2, 3));
  const b = i16x8.min_u(a, i16x8.shuffle(a, a, 2, 3, 0, 1, 2, 3, 0, 1));
  return min(i32(i16x8.extract_lane_u(b, 0)), i32(i16x8.extract_lane_u(b, 1)));
}

// @ts-ignore: decorator
@inline
function mostOf(v: v128): i32 {
  const a = i16x8.max_u(v, i16x8.shuffle(v, v, 4, 5, 6, 7, 0, 1, 2, 3));
  const b = i16x8.max_u(a, i16x8.shuffle(a, a, 2, 3, 0, 1, 2, 3, 0, 1));
  return max(i32(i16x8.extract_lane_u(b, 0)), i32(i16x8.extract_lane_u(b, 1)));
}

/** Natural logarithm of a positive number, within 1e-4. */
// @ts-ignore: decorator
@inline
function ln(x: f32): f32 {
  const bits = reinterpret<i32>(x);
  const m = reinterpret<f32>((bits & 0x007fffff) | 0x3f800000) - 1;
  const mantissa = m + m * (1 - m) * (0.43807325 + m * (-0.23669342 + m * 0.0803073));
  return 0.6931472 * (f32((bits >> 23) - 127) + mantissa);
}

/** Whether labels within reach of eight pixels from x on differ by more than a surface: elsewhere nothing is to be decided. */
function isEdge(labels: usize, labelStride: i32, x: i32, y: i32, width: i32, height: i32, apart: i32): bool {
  let low = i16x8.splat(-1);
  let high = i16x8.splat(0);
  const isInner = x >= 8 && x + 16 <= width;
  for (let yy = max(0, y - reachPx); yy <= min(height - 1, y + reachPx); yy++) {
    const row = labels + (usize(yy * labelStride) << 1);
    if (isInner) {
      for (let from = x - 8; from <= x + 8; from += 8) {
        const eight = v128.load(row + (usize(from) << 1));
        low = i16x8.min_u(low, eight);
        high = i16x8.max_u(high, eight);
      }
      continue;
    }
    for (let xx = max(0, x - reachPx); xx < min(width, x + 8 + reachPx); xx++) {
      const one = i16x8.splat(load<u16>(row + (usize(xx) << 1)));
      low = i16x8.min_u(low, one);
      high = i16x8.max_u(high, one);
    }
  }
  return mostOf(high) - leastOf(low) > apart;
}

/**
 * The surface of each pixel, rows of one strip, in level 0's planes: 5 place, 7 weight, 9 `gapBit` where frames are too far
 * apart for it, or `truncatedCurve`, 10 how sure it is which surface this is, 0 to 255. The peak that the surface goes
 * through becomes the best of the pixel, in planes 0 and 1; a peak of something else is none. nearSign: 0 = it is not known
 * which end is near, and labels stand.
 */
export function decideStrip(
  levels: usize, count: i32, width: i32, height: i32, frames: i32, supports: usize, supportStride: i32, labels: usize, tones: usize, labelStride: i32,
  nearSign: i32, unit: f32, fractionBits: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const perUnit = unit * unitsPerFrame(fractionBits);
  const same = i32(sameSurface * perUnit);
  const refined = refinedWithin * unit;
  for (let y = strip * stripRows; y < y1; y++) {
    const row = (usize(y) * strideOf(levels, 0)) << 1;
    const rises = planeOf(levels, 0, 0) + row;
    const peaks = planeOf(levels, 0, 1) + row;
    const seconds = planeOf(levels, 0, 5) + row;
    const secondPlaces = planeOf(levels, 0, 7) + row;
    const gaps = planeOf(levels, 0, 9) + row;
    const certainties = planeOf(levels, 0, 10) + row;
    let edge = false;
    for (let x = 0; x < width; x++) {
      if ((x & 7) == 0) edge = nearSign != 0 && isEdge(labels, labelStride, x, y, width, height, i32(apartSurfaces * perUnit));
      const label = i32(load<u16>(labels + ((usize(y) * usize(labelStride) + usize(x)) << 1)));
      const decided = edge
        ? decidePlace(levels, count, x, y, width, height, label, labels, tones, labelStride, supports, supportStride, nearSign, unit, fractionBits)
        : label;
      let sum: f32 = 0;
      let sumPlace: f32 = 0;
      let mark = 0;
      /** Support of a surface that only the coarse levels show, octaves. */
      let coarseRise: f32 = 0;
      const at = usize(x) << 1;
      let ownSupport = 0;
      let otherSupport = 0;
      if (decided != 0) {
        const own = load<u32>(supports + ((usize(y) * usize(supportStride) + usize(x)) << 2));
        for (let n = 0; n < 4; n++) {
          const support = supportAt(own, n);
          if (support == 0) continue;
          if (abs(i32(load<u16>(candidateAt(levels, n, x, y))) - decided) < same) ownSupport += support;
          else otherSupport = max(otherSupport, support);
        }
        const base = placeAt(u16(decided), fractionBits);
        for (let level = 0; level < count; level++) {
          const q = (usize(y >> level) * strideOf(levels, level) + usize(x >> level)) << 1;
          const stored = i32(load<u16>(planeOf(levels, level, 2) + q));
          const best = i32(load<u16>(planeOf(levels, level, 1) + q));
          const rise = i32(load<u16>(planeOf(levels, level, 0) + q));
          if (f32(rise) < leastSupport * octave) continue;
          const isFirst = sum == 0;
          if (Mathf.abs(placeAt(u16(best), fractionBits) - base) >= refined) continue;
          if (isFirst) {
            if (stored == gapBit) {
              mark = truncatedCurve;
              break;
            }
            mark = stored & gapBit;
            if (level > 1) coarseRise = f32(load<u16>(planeOf(levels, level, 0) + q)) / octave - leastSupport;
          }
          const weight = f32(stored & ~gapBit) * (isFirst ? 1 : coarserSay);
          let place = placeAt(u16(best), fractionBits);
          // Far beyond an end the curve falls slowly: without fine detail its slope says less than its direction.
          if (isFirst && level > 1 && place < 1) place = min<f32>(place, 0);
          if (isFirst && level > 1 && place > f32(frames)) place = max<f32>(place, f32(frames + 1));
          sum += weight;
          sumPlace += weight * place;
        }
        if (sum == 0 && mark == 0) {
          // A second peak, or what the neighbours tell.
          let support = 0;
          for (let n = 1; n < 4; n++) {
            if (supportAt(own, n) > 0 && abs(i32(load<u16>(candidateAt(levels, n, x, y))) - decided) < same) support = max(support, supportAt(own, n));
          }
          sum = max<f32>(toldWeight, (wholeFrameWeight * f32(min(sureSupport, support))) / f32(sureSupport)) * weightUnit;
          sumPlace = sum * base;
        }
      }
      const certainty = sum > 0 ? certaintyOf(max(f32(ownSupport) / f32(supportSteps), coarseRise), f32(otherSupport) / f32(supportSteps)) : 0;
      const place = sum > 0 ? placeCode(sumPlace / sum, fractionBits) : 0;
      const second = i32(load<u16>(secondPlaces + at));
      if (place != 0 && abs(i32(load<u16>(peaks + at)) - place) >= same) {
        const isSecond = second != 0 && abs(second - place) < same;
        store<u16>(rises + at, isSecond ? load<u16>(seconds + at) : 0);
        store<u16>(peaks + at, isSecond ? second : place);
      }
      store<u16>(seconds + at, place);
      store<u16>(secondPlaces + at, min(32767, i32(sum + 0.5)));
      store<u16>(gaps + at, mark);
      store<u16>(certainties + at, certainty);
    }
    memory.fill(secondPlaces - 32, 0, 32);
    memory.fill(secondPlaces + (usize(width) << 1), 0, 32);
  }
}

/**
 * Logarithm of the odds that the place is right within a unit: a number, and parts of the logarithms of the support and
 * of its ratio to that of the next candidate, octaves. Logistic regression on the scenes for tuning.
 */
const certaintyOdds: f32 = -1;
const certaintyOfSupport: f32 = 1.2;
const certaintyOfLead: f32 = 0.75;
/** Added to both supports, octaves. */
const certaintyFloor: f32 = 0.1;

/** How sure it is that a pixel shows its surface, 0 to 255. own, other: supports, octaves. */
function certaintyOf(own: f32, other: f32): i32 {
  const odds = certaintyOdds + certaintyOfSupport * ln(own + certaintyFloor) + certaintyOfLead * (ln(own + certaintyFloor) - ln(other + certaintyFloor));
  const ratio = exp2(Mathf.abs(odds) * 1.442695);
  const likely: f32 = odds > 0 ? ratio : 1;
  return i32((likely * 255) / (ratio + 1) + 0.5);
}

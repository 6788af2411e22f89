// Which surface each pixel shows, of those that its focus curves have peaks at: see curve-state.ts for the planes.
//
// A pixel has up to three candidates: the two peaks of its curve at level 0 and the best at level 1. Beside a depth edge
// they disagree, for a sharp far texture shows through the blurred rim of what is before it, and the window of the
// measure carries the rim's detail outward. Two things tell which is the pixel's own:
//
// 1. Its neighbours. The support of a candidate, octaves over noise, is averaged over the pixels around that look like
//    this one in the frame in which the candidate is sharp: that frame is the best guide to the outline of what it shows.
//    (Edge-avoiding a-trous passes after Dammertz et al., HPG 2010, over supports as a cost volume is filtered by Hosni et
//    al., PAMI 35(2), 2013.)
// 2. The share alpha of the near surface in the pixel's tone, in the frame in which the near surface is sharp: between
//    its own tone and that of what lies behind it, which is out of focus there (the matting equation, Porter & Duff, SIGGRAPH
//    1984). See `clearShare` in decide.ts.
//
// Before something detailed, smooth ground shows at a coarse level alone, while detail of what lies behind shines through its
// blurred rim: there the best peak of level 2 may be the near surface, though no label is its own.
//
// Supports: three bytes a pixel in one u32, 1/8 codesPerOctave, in the order of the candidates, bit 31 = contested: the best
// has little support, or another has some as well. Only contested pixels are averaged. Once it is decided, bits 24 to 30 hold what
// tones say for the near surface where it is the pixel's: logarithm of odds in steps of 1/`supportSteps`, `maxToneOdds` + 1 more, 0 = none.
import { codesPerOctave, supportSteps, maxKeptSupport, maxToneOdds, minPeakOctaves, maxSupport, apartUnits, contestedShare, droppedPercent, sureSupport, coarseTonesPlane, indexPlane, risePlane, secondIndexPlane, secondRisePlane, tonesPlane } from './constants';
import { apartOf } from './common';
import { planeOf, strideOf, unitsPerFrame } from './curve-state';

/** Candidates whose support is kept: the two peaks of level 0, and the best of level 1. */
export const candidates: i32 = 3;
/** The candidate of the widest window: the best of level 2, whose support is not averaged. */
export const wide: i32 = 3;
/** Bit of the supports that marks a contested pixel. */
export const contestedBit: u32 = 0x80000000;
/** Of what tones say, above the supports. */
export const toneOddsShift: i32 = 24;

// @ts-ignore: decorator
@inline
export function supportOf(rise: i32): i32 {
  return max(0, min(i32(maxSupport) * supportSteps, ((rise - i32(minPeakOctaves * codesPerOctave)) * supportSteps) >> 9));
}

/** Supports of eight rises. */
// @ts-ignore: decorator
@inline
export function eightSupportsOf(rises: v128): v128 {
  const above = i16x8.sub(rises, i16x8.splat(i16(minPeakOctaves * codesPerOctave)));
  const steps = i16x8.shr_s(above, 6);
  return i16x8.max_s(i16x8.splat(0), i16x8.min_s(i16x8.splat(i16(maxSupport) * i16(supportSteps)), steps));
}

// @ts-ignore: decorator
@inline
export function supportAt(supports: u32, candidate: i32): i32 {
  return i32((supports >> (candidate << 3)) & 127);
}

/** What tones say for the surfaces of four pixels, logarithms of odds. */
// @ts-ignore: decorator
@inline
export function toneOddsOf(supports: v128): v128 {
  const stored = v128.and(i32x4.shr_u(supports, toneOddsShift), i32x4.splat(127));
  const steps = v128.and(i32x4.sub(stored, i32x4.splat(maxToneOdds + 1)), i32x4.ne(stored, i32x4.splat(0)));
  return v128.mul<f32>(v128.convert<i32>(steps), f32x4.splat(1 / f32(supportSteps)));
}

/** Eight u16 of level 1's row, each for two pixels of level 0. */
// @ts-ignore: decorator
@inline
export function twiceOf(p: usize): v128 {
  return i8x16.swizzle(v128.load64_zero(p), i8x16(0, 1, 0, 1, 2, 3, 2, 3, 4, 5, 4, 5, 6, 7, 6, 7));
}

/** One of the three supports of eight pixels, of which `low` and `high` hold four each. */
// @ts-ignore: decorator
@inline
export function firstSupport(low: v128, high: v128): v128 {
  return v128.extend_low<u8>(i8x16.shuffle(low, high, 0, 4, 8, 12, 16, 20, 24, 28, 0, 0, 0, 0, 0, 0, 0, 0));
}

// @ts-ignore: decorator
@inline
export function secondSupport(low: v128, high: v128): v128 {
  return v128.extend_low<u8>(i8x16.shuffle(low, high, 1, 5, 9, 13, 17, 21, 25, 29, 0, 0, 0, 0, 0, 0, 0, 0));
}

// @ts-ignore: decorator
@inline
export function thirdSupport(low: v128, high: v128): v128 {
  return v128.extend_low<u8>(i8x16.shuffle(low, high, 2, 6, 10, 14, 18, 22, 26, 30, 0, 0, 0, 0, 0, 0, 0, 0));
}

/** Support of candidate n of eight pixels. */
// @ts-ignore: decorator
@inline
export function supportOfCandidate(low: v128, high: v128, n: i32): v128 {
  return n == 0 ? firstSupport(low, high) : n == 1 ? secondSupport(low, high) : thirdSupport(low, high);
}

/** A plane of a level at eight pixels of level 0 from column x, a multiple of 8, on. */
// @ts-ignore: decorator
@inline
export function eightOf(levels: usize, level: i32, plane: usize, x: i32, y: i32): v128 {
  const p = planeOf(levels, level, plane) + ((usize(y >> level) * strideOf(levels, level) + usize(x >> level)) << 1);
  if (level == 0) return v128.load(p);
  if (level == 1) return twiceOf(p);
  if (level == 2) return i8x16.swizzle(v128.load32_zero(p), i8x16(0, 1, 0, 1, 0, 1, 0, 1, 2, 3, 2, 3, 2, 3, 2, 3));
  return v128.load16_splat(p);
}

/** Address of the depth index of a candidate at level 0's pixel. */
// @ts-ignore: decorator
@inline
export function candidateAt(levels: usize, candidate: i32, x: i32, y: i32): usize {
  const level = max(0, candidate - 1);
  return planeOf(levels, level, candidate == 1 ? secondIndexPlane : indexPlane) + ((usize(y >> level) * strideOf(levels, level) + usize(x >> level)) << 1);
}

/** Tone of a candidate in the frame in which it is sharp, 0 to 255. */
// @ts-ignore: decorator
@inline
export function toneAt(levels: usize, candidate: i32, x: i32, y: i32): i32 {
  const tones = planeOf(levels, 0, candidate < 2 ? tonesPlane : coarseTonesPlane);
  return i32(load<u8>(tones + ((usize(y) * strideOf(levels, 0) + usize(x)) << 1) + usize(candidate & 1)));
}

/** Four supports; columns past the width are left alone. */
// @ts-ignore: decorator
@inline
export function storeSupports(row: usize, x: i32, width: i32, supports: v128): void {
  if (x >= width) return;
  const at = row + (usize(x) << 2);
  if (x + 4 <= width) {
    v128.store(at, supports);
    return;
  }
  store<u32>(at, i32x4.extract_lane(supports, 0));
  if (x + 1 < width) store<u32>(at, i32x4.extract_lane(supports, 1), 4);
  if (x + 2 < width) store<u32>(at, i32x4.extract_lane(supports, 2), 8);
}

/** Least support of four pixels whose best candidate has `top`. */
// @ts-ignore: decorator
@inline
function droppedOf(top: v128): v128 {
  const part = v128.convert<i32>(i32x4.mul(top, i32x4.splat(droppedPercent)));
  return v128.trunc_sat<i32>(v128.div<f32>(part, f32x4.splat(100)));
}

/** Whether the next candidates of four pixels rival the best. */
// @ts-ignore: decorator
@inline
function isMore(next: v128, top: v128): v128 {
  return v128.gt<f32>(v128.convert<i32>(next), v128.mul<f32>(f32x4.splat(contestedShare), v128.convert<i32>(top)));
}

/** Supports of the candidates of each pixel, rows of one strip. count: of levels. supports: u32 in rows of supportStride. */
export function gatherStrip(
  levels: usize, count: i32, width: i32, height: i32, supports: usize, supportStride: i32, unit: f32, fractionBits: i32,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const zero = i16x8.splat(0);
  const most = i16x8.splat(i16(maxKeptSupport));
  const closer = i16x8.splat(i16(i32(apartUnits * unit * unitsPerFrame(fractionBits)) - 1));
  for (let y = strip * stripRows; y < y1; y++) {
    const out = supports + ((usize(y) * usize(supportStride)) << 2);
    memory.fill(out - 64, 0, 64);
    memory.fill(out + (usize(width) << 2), 0, 64);
    const fine = (usize(y) * strideOf(levels, 0)) << 1;
    const coarse = count > 1 ? (usize(y >> 1) * strideOf(levels, 1)) << 1 : 0;
    const rises = planeOf(levels, 0, risePlane) + fine;
    const secondRises = planeOf(levels, 0, secondRisePlane) + fine;
    const firsts = planeOf(levels, 0, indexPlane) + fine;
    const seconds = planeOf(levels, 0, secondIndexPlane) + fine;
    const coarseRises = count > 1 ? planeOf(levels, 1, risePlane) + coarse : 0;
    const coarseSecondRises = count > 1 ? planeOf(levels, 1, secondRisePlane) + coarse : 0;
    const coarseIndices = count > 1 ? planeOf(levels, 1, indexPlane) + coarse : 0;
    const coarseSeconds = count > 1 ? planeOf(levels, 1, secondIndexPlane) + coarse : 0;
    for (let x = 0; x < width; x += 8) {
      const at = usize(x) << 1;
      let s0 = eightSupportsOf(v128.load(rises + at));
      let s1 = eightSupportsOf(v128.load(secondRises + at));
      let s2 = zero;
      if (count > 1) {
        const q = usize(x >> 1) << 1;
        const z0 = v128.load(firsts + at);
        const z1 = v128.load(seconds + at);
        const z2 = twiceOf(coarseIndices + q);
        const z3 = twiceOf(coarseSeconds + q);
        // What both levels show is one candidate; what level 1 shows as a second peak alone is none.
        s2 = eightSupportsOf(twiceOf(coarseRises + q));
        const has2 = i16x8.gt_s(s2, zero);
        const is0 = v128.and(v128.and(has2, i16x8.gt_s(s0, zero)), i16x8.le_u(apartOf(z2, z0), closer));
        const is1 = v128.andnot(v128.and(v128.and(has2, i16x8.gt_s(s1, zero)), i16x8.le_u(apartOf(z2, z1), closer)), is0);
        s0 = v128.bitselect(i16x8.min_s(most, i16x8.add(s0, s2)), s0, is0);
        s1 = v128.bitselect(i16x8.min_s(most, i16x8.add(s1, s2)), s1, is1);
        s2 = v128.andnot(s2, v128.or(is0, is1));
        const s3 = eightSupportsOf(twiceOf(coarseSecondRises + q));
        const has3 = i16x8.gt_s(s3, zero);
        const as0 = v128.and(v128.and(has3, i16x8.gt_s(s0, zero)), i16x8.le_u(apartOf(z3, z0), closer));
        const as1 = v128.andnot(v128.and(v128.and(has3, i16x8.gt_s(s1, zero)), i16x8.le_u(apartOf(z3, z1), closer)), as0);
        s0 = v128.bitselect(i16x8.min_s(most, i16x8.add(s0, s3)), s0, as0);
        s1 = v128.bitselect(i16x8.min_s(most, i16x8.add(s1, s3)), s1, as1);
      }
      const top = i16x8.max_s(i16x8.max_s(s0, s1), s2);
      const dropped = i16x8.narrow_i32x4_s(droppedOf(v128.extend_low<i16>(top)), droppedOf(v128.extend_high<i16>(top)));
      s0 = v128.andnot(s0, i16x8.lt_s(s0, dropped));
      s1 = v128.andnot(s1, i16x8.lt_s(s1, dropped));
      s2 = v128.andnot(s2, i16x8.lt_s(s2, dropped));
      const next = i16x8.max_s(i16x8.min_s(s0, s1), i16x8.min_s(i16x8.max_s(s0, s1), s2));
      const isRivalled = i16x8.narrow_i32x4_s(
        isMore(v128.extend_low<i16>(next), v128.extend_low<i16>(top)),
        isMore(v128.extend_high<i16>(next), v128.extend_high<i16>(top)),
      );
      const isWeak = v128.and(i16x8.gt_s(top, zero), i16x8.lt_s(top, i16x8.splat(i16(sureSupport))));
      const contested = v128.and(v128.or(isRivalled, isWeak), i16x8.splat(i16(contestedBit >> 16)));
      const pair = v128.or(s0, i16x8.shl(s1, 8));
      const third = v128.or(s2, contested);
      storeSupports(out, x, width, i16x8.shuffle(pair, third, 0, 8, 1, 9, 2, 10, 3, 11));
      storeSupports(out, x + 4, width, i16x8.shuffle(pair, third, 4, 12, 5, 13, 6, 14, 7, 15));
    }
  }
}

import { readFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { noiseBin, statePlane } from '../../src/focus/focus-tracker.js';
import type { Planes } from '../../src/kernels/arena.js';
import {
  endsOf,
  fractionBits,
  frames,
  names,
  type PlaneName,
  placeAt,
  randomState,
  type State,
  soilEnds,
  storedPlace,
} from './focus-state.js';
import { at, KernelRig, type Plane, pictureOf, randomFrom } from './kernel-rig.js';

// The tests hold the formulas; numbers that are tuned on pictures are read from where they stand.
const source = ['peaks', 'surface']
  .map((file) => readFileSync(new URL(`../../src/kernels/assembly/${file}.ts`, import.meta.url), 'utf8'))
  .join('\n');
const tuned = (name: string) =>
  Number(source.match(new RegExp(`^const ${name}: (?:f32|i32) = (.+);`, 'm'))![1]);
const fartherVote = tuned('fartherVote');
const sameVote = tuned('sameVote');
const gapFall = tuned('gapFall');
const longStep = tuned('longStep');
const farStep = tuned('farStep');
const acrossRise = tuned('acrossRise');
const sameSurface = tuned('sameSurface');
/** Share of its weight with which a coarser level that agrees has a say. */
const coarserSay = tuned('coarserSay');
const leastRise = tuned('leastRise');
const leastRiseFinest = tuned('leastRiseFinest');
const sureRise = tuned('sureRise');
const sureRiseFinest = tuned('sureRiseFinest');
const supportRise = tuned('supportRise');
const supportRiseFinest = tuned('supportRiseFinest');
const supportReach = tuned('supportReach');
const apartRise = tuned('apartRise');
const aroundReach = tuned('aroundReach');
const fewestAround = tuned('fewestAround');
/** Places of the random peaks lie from 4 to 7: some beyond the last frame. */
const lastFrame = 6;
/** Octaves by which levels 1, 2 and 3 speak for a peak. */
const votes = source
  .match(/level == 1 \? (\S+) : level == 2 \? (\S+) : (\S+);/)!
  .slice(1)
  .map(Number);

let rig: KernelRig;
beforeAll(async () => {
  rig = await KernelRig.start();
});

/** Neither divides by 4, 8 or 32; the coarser levels' sizes are odd and even. */
const width = 53;
const height = 37;
const sizes = [
  [53, 37],
  [27, 19],
  [14, 10],
  [7, 5],
] as const;

function placeState(state: State): Planes {
  return rig.placeCodes(names.map((name) => state[name]));
}

function levelTable(levels: readonly Planes[]): number {
  const table = rig.arena.take(levels.length * 12);
  rig.arena
    .u32(table, levels.length * 3)
    .set(levels.flatMap((planes) => [planes.pointer, planes.planeBytes, planes.stride]));
  return table;
}

const noiseCodes = [3000, 3400, 3800, 4000, 4200, 4300, 4400, 4500];
/** Errors by rise in sixteenths of an octave, octaves: any falling row serves. */
const errorAt = (step: number) => Math.fround(2 / (1 + step / 16));

/** Steps by the ordinal of the frame before them, 1 beyond the ends. */
const evenSteps: readonly number[] = Array.from({ length: frames + 1 }, () => 1);

/** Steps of a poor rail: some long, some so long that curves are lost across them. */
function unevenSteps(seed: number, mostPlain = 1.4): number[] {
  const random = randomFrom(seed);
  const inner = Array.from({ length: frames - 1 }, (_, k) =>
    Math.fround(k % 4 === 2 && mostPlain > 1.3 ? 1.5 + 1.5 * random() : 0.6 + (mostPlain - 0.6) * random()),
  );
  return [1, ...inner, 1];
}

interface PeakSetting {
  nearSign: number;
  noise?: readonly number[];
  steps?: readonly number[];
  /** Frames that count as one step. */
  unit?: number;
}

/** Runs `peakStrip` over all levels, coarsest first; the state's planes then hold rise, place and weight. */
function findPeaks(
  states: readonly State[],
  { nearSign, noise = noiseCodes, steps = evenSteps, unit = 1 }: PeakSetting,
) {
  const levels = states.map(placeState);
  const table = levelTable(levels);
  const errors = rig.arena.take(512 * 4);
  rig.arena.f32(errors, 512).set(Float32Array.from({ length: 512 }, (_, i) => errorAt(i)));
  const codes = rig.arena.take(32);
  rig.arena.i32(codes, 8).set(noise);
  const distances = rig.arena.take(steps.length * 4);
  rig.arena.f32(distances, steps.length).set(steps);
  const full = levels[0];
  for (let level = levels.length - 1; level >= 0; level--) {
    const { width: w, height: h } = levels[level];
    const luma = full.pointer + statePlane.luma * full.planeBytes;
    const picture = [luma, full.stride, full.width, full.height];
    const tables = [codes, errors, nearSign, distances, unit, fractionBits];
    rig.run('peakStrip', [table, levels.length, level, w, h, ...picture, ...tables], h);
  }
  return { levels, table };
}

interface Peak {
  rise: number;
  place: number;
  weight: number;
  /** The curve ends there, so that nothing is known of its peak. */
  truncated?: boolean;
  /** Octaves from the interpolated peak down to the best frame; 0 in a long step, which is judged later. */
  fall: number;
}

/** Top of the parabola through three values at d1, 0 and d3 (Newton's divided differences). */
function parabolaTop([f1, f2, f3]: readonly number[], [d1, d3]: readonly number[]): number {
  const [first, second] = [(f2 - f1) / -d1, (f3 - f2) / d3];
  const bend = (second - first) / (d3 - d1);
  return d1 / 2 - first / (2 * bend);
}

/**
 * Place of the peak through three measures at -behind, 0 and ahead. Of a Gaussian (Nayar & Nakagawa, PAMI 16(8), 1994),
 * whose logarithm is a parabola; where a step is long, of (1 + (x / width)^2)^-2, whose power -1/2 is one.
 */
function peakThrough(codes: readonly number[], behind: number, ahead: number): number {
  const isLong = Math.max(behind, ahead) >= longStep;
  const values = codes.map((code) => (isLong ? -(2 ** ((codes[1] - code) / 1024)) : code));
  return parabolaTop(values, [-behind, ahead]);
}

/**
 * The peak of one pixel of one level by the docstring; undefined where two peaks are too even for float32.
 * `coarser`: the peaks of the coarser levels here, finest of them first, for level 0.
 */
function peakTwin(
  state: State,
  x: number,
  y: number,
  luma: number,
  coarser: readonly StoredPeak[] | undefined,
  nearSign: number,
  steps: readonly number[],
  unit: number,
): Peak | undefined {
  const value = (name: PlaneName) => at(state[name], x, y);
  const ordinal = value('bestOrdinal');
  if (ordinal === 0) return { rise: 0, place: Number.NaN, weight: 0, fall: 0 };
  const floor = noiseCodes[noiseBin(luma)];
  const rise = value('best') - floor;

  const rival = value('secondOrdinal');
  const rivalRise = value('second') - floor;
  if (coarser && rival > 0 && rivalRise > 512) {
    // Octaves for the first: its height over the other, one for lying farther, the votes of coarser levels.
    const farther = Math.sign(ordinal - rival) * nearSign * fartherVote;
    const cast = coarser.map(({ place, weight }, i) => {
      if (weight === 0) return 0;
      if (Math.abs(place - ordinal) <= sameVote * unit) return votes[i];
      return Math.abs(place - rival) <= sameVote * unit ? -votes[i] : 0;
    });
    const lead = cast.reduce((sum, vote) => sum + vote, (rise - rivalRise) / 512 + farther);
    if (Math.abs(lead) < 1e-4) return undefined;
    if (lead < 0) {
      const truncated = (value('latest') & 2) !== 0;
      return { rise: rivalRise, place: rival, weight: truncated ? 0 : 5, truncated, fall: 0 };
    }
  }

  const best = value('best');
  const [behind, ahead] = [steps[ordinal - 1], steps[ordinal]];
  // Across a gap what is near noise says nothing.
  const seen = (code: number, step: number) =>
    step >= farStep && code < floor + 512 * acrossRise ? 0 : code;
  const [before, after] = [seen(value('before'), behind), seen(value('after'), ahead)];
  let bend = (2 * ((best - before) / behind + (best - after) / ahead)) / (behind + ahead) / 512;
  let shift = 0;
  if (before > 0 && after > 0) {
    const top = bend > 0 ? peakThrough([before, best, after], behind, ahead) : 0;
    shift = Math.max(-behind / 2, Math.min(ahead / 2, top));
  } else {
    // A parabola of half an octave through the best and its one neighbour: bend / 2 ((step + s)^2 - s^2) = inner.
    bend = 0.5 / unit ** 2;
    const outward = (neighbour: number, step: number, beyond: number) => {
      const most = beyond < longStep ? 2 : Math.min(2, beyond / 2);
      return Math.max(-step / 2, Math.min(most, ((best - neighbour) / 256 / bend - step ** 2) / (2 * step)));
    };
    if (after > 0) shift = -outward(after, ahead, behind);
    else if (before > 0) shift = outward(before, behind, ahead);
  }
  const crossed = shift > 0 ? ahead : behind;
  const deviation = errorAt(Math.min(511, Math.floor(rise / 32))) / Math.max(0.05, bend * unit ** 2);
  const truncated = rise > 0 && (value('latest') & 1) !== 0;
  return {
    rise: Math.max(0, rise),
    place: ordinal + shift / crossed,
    truncated,
    weight: rise > 0 && !truncated ? Math.max(1 / 64, 1 / (deviation ** 2 + 0.1 ** 2)) : 0,
    fall: crossed < longStep ? (bend / 2) * shift ** 2 : 0,
  };
}

/** The stored peak of a level's planes. */
function storedPeak(planes: readonly Plane[], x: number, y: number) {
  const weight = at(planes[2], x, y);
  return {
    rise: at(planes[0], x, y),
    place: placeAt(at(planes[1], x, y)),
    weight: (weight & 0x7fff) / 64,
    gap: weight >= 0x8000,
  };
}

describe('peakStrip', () => {
  it.each([
    [1, 1, 'even', evenSteps, 1],
    [2, -1, 'even', evenSteps, 1],
    [3, 0, 'even', evenSteps, 1],
    [4, 1, 'uneven', unevenSteps(4), 1],
    [5, -1, 'uneven', unevenSteps(5), 1],
    [6, 1, 'small', evenSteps, 1.7],
  ] as const)(
    'interpolates the peak and weighs it, seed %i, nearSign %i, %s steps',
    (seed, nearSign, _, steps, unit) => {
      const states = sizes.map((size) => randomState(size, seed));
      const { levels } = findPeaks(states, { nearSign, steps, unit });
      const found = levels.map((planes) => [0, 1, 2].map((plane) => rig.read(planes, plane)));
      const seen = { none: 0, second: 0, gap: 0, end: 0, truncated: 0, compared: 0 };
      sizes.forEach(([w, h], level) => {
        for (let y = 0; y < h; y++) {
          for (let x = 0; x < w; x++) {
            const luma = at(
              states[0].luma,
              Math.min(width - 1, x << level),
              Math.min(height - 1, y << level),
            );
            const coarser = [1, 2, 3].map((l) => ({ ...storedPeak(found[l], x >> l, y >> l), fall: 0 }));
            const expected = peakTwin(
              states[level],
              x,
              y,
              luma,
              level === 0 ? coarser : undefined,
              nearSign,
              steps,
              unit,
            );
            if (!expected) continue;
            seen.compared++;
            const peak = storedPeak(found[level], x, y);
            if (Number.isNaN(expected.place)) {
              seen.none++;
              expect(found[level].map((plane) => at(plane, x, y))).toEqual([0, 0, 0]);
              continue;
            }
            expect(peak.rise).toBe(expected.rise);
            expect(Math.abs(peak.place - expected.place)).toBeLessThan(0.51 / 64);
            expect(Math.abs(peak.weight - expected.weight)).toBeLessThan(0.51 / 64 + 1e-5 * expected.weight);
            if (expected.truncated) {
              seen.truncated++;
              expect(peak.gap).toBe(true);
            } else if (Math.abs(expected.fall - gapFall) > 1e-4) {
              expect(peak.gap).toBe(expected.weight > 0 && expected.fall > gapFall);
            }
            if (expected.weight === 5) seen.second++;
            if (peak.gap && peak.weight > 0) seen.gap++;
            if (Math.abs(expected.place - at(states[level].bestOrdinal, x, y)) > 0.51) seen.end++;
          }
        }
      });
      expect(seen.compared).toBeGreaterThan(2600);
      for (const count of [seen.none, seen.second, seen.gap, seen.end, seen.truncated])
        expect(count).toBeGreaterThan(20);
    },
  );

  /** Curves with peaks between the second and the last but one frame, as the three measures about them. */
  function seenCurves(steps: readonly number[], octavesAt: (offset: number, width: number) => number) {
    const at1 = [0, 0];
    for (const step of steps.slice(1, frames)) at1.push(at1[at1.length - 1] + step);
    const random = randomFrom(8);
    const curves = Array.from({ length: width * height }, () => ({
      place: at1[2] + random() * (at1[frames - 1] - at1[2]),
      width: 0.7 + random() * 3,
    }));
    const nearest = (i: number) => {
      const off = at1.map((at, ordinal) => (ordinal < 1 ? 1e9 : Math.abs(at - curves[i].place)));
      return off.indexOf(Math.min(...off));
    };
    const code = (i: number, ordinal: number) =>
      Math.round(20_000 - 512 * octavesAt(at1[ordinal] - curves[i].place, curves[i].width));
    const of = (value: (i: number) => number) => pictureOf(width, height, (x, y) => value(y * width + x));
    const state = {
      ...randomState(sizes[0], 1),
      best: of((i) => code(i, nearest(i))),
      before: of((i) => Math.max(1, code(i, nearest(i) - 1))),
      after: of((i) => Math.max(1, code(i, nearest(i) + 1))),
      bestOrdinal: of(nearest),
      secondOrdinal: of(() => 0),
    };
    const { levels } = findPeaks([state], { nearSign: 0, steps });
    const places = rig.read(levels[0], 1);
    const errors = curves.map(({ place }, i) => {
      const found = placeAt(places.data[i]);
      const below = Math.min(frames - 1, Math.floor(found));
      return Math.abs(at1[below] + (found - below) * steps[below] - place);
    });
    return Math.max(...errors);
  }

  it.each([
    ['even', evenSteps],
    ['uneven', unevenSteps(9, 1.29)],
  ])('finds the peak of a Gaussian focus curve to 1/32 step, steps %s', (_, steps) => {
    const octaves = (offset: number, deviation: number) => (Math.LOG2E * (offset / deviation) ** 2) / 2;
    expect(seenCurves(steps, octaves)).toBeLessThan(1 / 32);
  });

  it('finds the peak of a curve with long tails to 1/32 step beside long steps', () => {
    const steps = evenSteps.map((step, k) => (k % 2 === 1 ? 1.9 : step));
    expect(seenCurves(steps, (offset, half) => 2 * Math.log2(1 + (offset / half) ** 2))).toBeLessThan(1 / 32);
  });

  it('does not change when measure and noise grow by the same number of octaves', () => {
    const states = sizes.map((size) => randomState(size, 5));
    const grow = (plane: Plane) =>
      pictureOf(plane.width, plane.height, (x, y) => at(plane, x, y) + (at(plane, x, y) > 0 ? 1536 : 0));
    const grown = states.map((state) => ({
      ...state,
      best: grow(state.best),
      before: grow(state.before),
      after: grow(state.after),
      second: grow(state.second),
    }));
    const raised = noiseCodes.map((code) => code + 1536);
    const [plain, scaled] = [
      findPeaks(states, { nearSign: 1, steps: unevenSteps(7) }),
      findPeaks(grown, { nearSign: 1, noise: raised, steps: unevenSteps(7) }),
    ].map(({ levels }) =>
      levels.flatMap((planes) => [0, 1, 2].map((plane) => Array.from(rig.read(planes, plane).data))),
    );
    expect(scaled).toEqual(plain);
  });

  it('mirrors with the order of the frames and the sign of near', () => {
    const states = sizes.map((size) => randomState(size, 6));
    const turn = (plane: Plane) =>
      pictureOf(plane.width, plane.height, (x, y) => at(plane, x, y) && frames + 1 - at(plane, x, y));
    const turned = states.map((state) => ({
      ...state,
      before: state.after,
      after: state.before,
      bestOrdinal: turn(state.bestOrdinal),
      secondOrdinal: turn(state.secondOrdinal),
    }));
    const steps = unevenSteps(6);
    const [plain, mirrored] = [
      findPeaks(states, { nearSign: 1, steps }),
      findPeaks(turned, { nearSign: -1, steps: steps.toReversed() }),
    ].map(({ levels }) => levels.map((planes) => [0, 1, 2].map((plane) => rig.read(planes, plane))));
    // Halves round up either way: a step of 1/64 frame. A coarser place then may cross what counts as agreeing.
    let crossed = 0;
    plain.forEach((planes, level) => {
      planes[1].data.forEach((place, i) => {
        const other = mirrored[level][1].data[i];
        const expected = place === 0 ? 0 : storedPlace(frames + 1 - placeAt(place));
        if (Math.abs(other - expected) > 1) crossed++;
        else expect(mirrored[level][2].data[i]).toBe(planes[2].data[i]);
      });
    });
    expect(crossed).toBeLessThan(5);
  });
});

/** Peaks of a level as `peakStrip` leaves them: rise, place, weight with bit 15 for a gap. */
function randomPeaks(level: number, seed: number): State {
  const [w, h] = sizes[level];
  const random = randomFrom(seed + 17 * level);
  const rises = pictureOf(w, h, () => Math.floor(random() * 3000));
  return {
    ...randomState(sizes[level], seed),
    best: rises,
    // Close enough together that levels often mean the same surface.
    before: pictureOf(w, h, () => storedPlace(4 + random() * 3)),
    after: pictureOf(w, h, () => {
      // Now and then a truncated curve: no weight, and bit 15 alone.
      if (random() < 0.1) return 0x8000;
      const weight = random() < 0.3 ? 0 : 1 + Math.floor(random() * 6400);
      return weight + (weight > 0 && random() < 0.3 ? 0x8000 : 0);
    }),
  };
}

type StoredPeak = ReturnType<typeof storedPeak>;

/** Whether a level's peak stands out of the noise, by itself or by what lies around it and at coarser levels. */
function speaks(
  states: readonly State[],
  peaks: readonly StoredPeak[],
  level: number,
  x: number,
  y: number,
  unit: number,
): boolean {
  const { rise, place } = peaks[level];
  const octaves = rise / 512;
  if (octaves < (level === 0 ? leastRiseFinest : leastRise)) return false;
  if (states.length === 1 || octaves >= (level === 0 ? sureRiseFinest : sureRise)) return true;
  const isNear = (other: StoredPeak, least: number, near: number) =>
    other.rise >= least * 512 && Math.abs(other.place - near) <= supportReach * unit;
  const isWide = (l: number, near: number) => {
    const { best, before, after } = states[l];
    let found = 0;
    for (let v = (y >> l) - aroundReach; v <= (y >> l) + aroundReach; v++) {
      for (let u = (x >> l) - aroundReach; u <= (x >> l) + aroundReach; u++) {
        if (u < 0 || v < 0 || u >= best.width || v >= best.height) continue;
        if (isNear(storedPeak([best, before, after], u, v), supportRise, near)) found++;
      }
    }
    return found >= fewestAround;
  };
  const coarser = peaks.map((peak, l) => ({ ...peak, l })).slice(level + 1);
  if (level > 0) return isWide(level, place) && coarser.some((peak) => isNear(peak, supportRise, place));
  return coarser.some(
    (peak) =>
      isNear(peak, supportRiseFinest, octaves >= apartRise ? peak.place : place) &&
      (peak.rise >= sureRise * 512 || isWide(peak.l, peak.place)),
  );
}

describe('combineStrip', () => {
  it.each([
    [1, 4, 1],
    [2, 4, 1.7],
    [3, 1, 1],
  ])(
    'refines the finest level above noise by those that agree, seed %i, %i levels, unit %f',
    (seed, count, unit) => {
      const states = sizes.slice(0, count).map((_, level) => randomPeaks(level, seed));
      const levels = states.map(placeState);
      soilEnds(rig, levels[0], 4);
      rig.run(
        'combineStrip',
        [levelTable(levels), count, width, height, lastFrame, unit, fractionBits],
        height,
      );
      expect(endsOf(rig, levels[0], 4)).toEqual(new Set([0]));
      const [places, weights, gaps] = [3, 4, 8].map((plane) => rig.read(levels[0], plane));
      const seen = { none: 0, gap: 0, refined: 0, truncated: 0 };
      for (let y = 0; y < height; y++) {
        for (let x = 0; x < width; x++) {
          const peaks = states.map(({ best, before, after }, l) =>
            storedPeak([best, before, after], x >> l, y >> l),
          );
          const known = peaks.filter(({ weight }) => weight > 0);
          // A truncated curve that stands out leaves its pixel without a place, whatever coarser ones mean.
          const found = peaks.find(
            (peak, l) => (peak.weight > 0 || peak.gap) && speaks(states, peaks, l, x, y, unit),
          );
          const isTruncated = found !== undefined && found.weight === 0;
          const speaking = isTruncated ? undefined : found;
          const base = speaking && { ...speaking };
          // Without fine detail a place beyond an end is at least one frame beyond.
          if (base && speaking && peaks.indexOf(speaking) > 1) {
            if (base.place < 1) base.place = Math.min(base.place, 0);
            if (base.place > lastFrame) base.place = Math.max(base.place, lastFrame + 1);
          }
          const agreeing = base
            ? known.filter((peak) => {
                const coarser = speaking && peaks.indexOf(peak) > peaks.indexOf(speaking);
                return coarser && Math.abs(peak.place - base.place) < sameSurface * unit;
              })
            : [];
          const shares = [...(base ? [{ ...base, share: base.weight }] : [])].concat(
            agreeing.map((peak) => ({ ...peak, share: coarserSay * peak.weight })),
          );
          const weight = shares.reduce((sum, { share }) => sum + share, 0);
          const place = shares.reduce((sum, { share, place: own }) => sum + share * own, 0) / weight;
          expect(Math.abs(at(weights, x, y) - 64 * weight)).toBeLessThan(0.51);
          if (base) expect(Math.abs(placeAt(at(places, x, y)) - place)).toBeLessThan(0.51 / 64);
          else expect(at(places, x, y)).toBe(0);
          const gap = base?.gap ?? false;
          expect(at(gaps, x, y)).toBe(isTruncated ? 1 : gap ? 0x8000 : 0);
          if (isTruncated) seen.truncated++;
          if (!base) seen.none++;
          if (gap) seen.gap++;
          if (agreeing.length > 0) seen.refined++;
        }
      }
      expect(seen.none).toBeGreaterThan(20);
      expect(seen.gap).toBeGreaterThan(20);
      expect(seen.truncated).toBeGreaterThan(20);
      if (count > 1) expect(seen.refined).toBeGreaterThan(20);
    },
  );
});

import { describe, expect, it } from 'vitest';
import { type SeenLevel, siteGrid, siteVotes } from '../../src/focus/site-votes.js';
import { codesPerOctave } from '../../src/model/constants/state.js';

const [width, height] = [90, 70];
const frames = 14;
const apart = 4;
/** Noise reaches up to here; detail stands so many octaves above. */
const noiseCode = 4000;
const clear = noiseCode + 5 * codesPerOctave;

interface Peaks {
  best: number;
  second?: number;
}

/** A level where each pixel is sharp in the frames that it says. */
function levelOf(peaksAt: (x: number, y: number) => Peaks): SeenLevel {
  const [best, second, bestOrdinal, secondOrdinal] = Array.from(
    { length: 4 },
    () => new Uint16Array(width * height),
  );
  for (let at = 0; at < width * height; at++) {
    const peaks = peaksAt(at % width, Math.floor(at / width));
    best[at] = clear;
    bestOrdinal[at] = peaks.best;
    second[at] = peaks.second === undefined ? 0 : clear - codesPerOctave;
    secondOrdinal[at] = peaks.second ?? 0;
  }
  return {
    ...{ width, height, stride: width, from: 0, to: height, top: 0, lumaTop: 0, level: 0 },
    ...{ best, second, bestOrdinal, secondOrdinal, luma: new Uint16Array(width * height) },
    ...{ lumaStride: width, lumaWidth: width, lumaHeight: height },
    noise: Float64Array.from({ length: 256 }, () => noiseCode),
  };
}

const votesOf = (level: SeenLevel) => [...siteVotes(level, frames, apart)];

describe('votes of sites for which end is near', () => {
  it('are for the side through whose rim the other is seen, whole beside a long edge, and turn with it', () => {
    const { margin, pitch } = siteGrid({ width, height });
    for (const [left, right, sign] of [
      [3, 11, 1],
      [11, 3, -1],
    ]) {
      // The left side is near: where it is out of focus the right side's detail shows through its rim.
      const votes = votesOf(
        levelOf((x) => (x < 45 ? { best: left, ...(x >= 30 && { second: right }) } : { best: right })),
      );
      expect(votes.length).toBeGreaterThan(30);
      for (const { x, y, vote } of votes) {
        expect(vote * sign).toBeGreaterThan(0);
        expect((x - margin) % pitch).toBe(0);
        expect((y - margin) % pitch).toBe(0);
      }
      expect(Math.max(...votes.map(({ vote }) => vote * sign))).toBe(1);
    }
  });

  it('are none of detail that both sides show alike', () => {
    const both = levelOf((x) => (x < 45 ? { best: 3, second: 11 } : { best: 11, second: 3 }));
    expect(votesOf(both)).toEqual([]);
  });
});

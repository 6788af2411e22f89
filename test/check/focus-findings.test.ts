import { describe, expect, test } from 'vitest';
import { createRandom } from '../../samples/random.js';
import { judgeFocus } from '../../src/check/focus-findings.js';
import { range } from '../rail/made-curves.js';
import { stillMotion } from '../rail/still-motion.js';

/** Gaps in ten frames of a smear at this position, whose tiles show it no better than to half a step. */
function gapsOf(position: number) {
  const random = createRandom(1, 'smear');
  const width = 0.4;
  const tiles = range(400).map(() => {
    const found = position + 0.45 * random.normal();
    // In focus they differ clearly: the sharpest frame is that nearest to the smear.
    return { position: found, width, best: Math.floor(position + random.unit()), peak: 4, error: 0.2 };
  });
  const travel = {
    steps: range(9).map(() => 1),
    positions: range(10),
    tileShare: range(9).map(() => 0.5),
  };
  const frames = range(10).map((k) => stillMotion(k + 1));
  return judgeFocus({ tiles, width }, 20, travel, frames, 'unknown', width).findings.filter(
    ({ kind }) => kind === 'missed-step' || kind === 'too-coarse-steps',
  );
}

describe('a smear thinner than a step', () => {
  test('has no gap beside the frame in which all of it is sharp', () => {
    expect(gapsOf(4.15)).toEqual([]);
    expect(gapsOf(5)).toEqual([]);
  });

  test('lies in a gap as a whole, where it lies midway between two frames too far apart', () => {
    expect(gapsOf(4.5)).toMatchObject([{ kind: 'missed-step', rank: 'spoils', frames: [5, 6] }]);
    expect(gapsOf(4.5)[0].message).toMatch(/^100 % of the picture lies between frames 5 and 6/);
  });
});

test('frames in which nothing comes into focus and goes out again are said to show nothing of steps and ends', () => {
  // Every curve only rises towards one of the ends, so that none shows how wide it is.
  const tiles = range(60).map((i) => ({
    position: i % 2 ? 2.3 : -0.4,
    width: 1,
    best: i % 2 ? 2 : 0,
    peak: 4,
    error: 0.2,
  }));
  const travel = {
    ...{ steps: [1, 1], positions: range(3), tileShare: [0.5, 0.5] },
  };
  const frames = range(3).map((k) => stillMotion(k + 1));
  const { findings } = judgeFocus({ tiles, width: Number.NaN }, 10, travel, frames, 'unknown', Number.NaN);
  expect(findings).toMatchObject([{ kind: 'too-few-frames', rank: 'note' }]);
  expect(findings[0].message).toMatch(/^These 3 frames do not show whether the steps are right/);
});

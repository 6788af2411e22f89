import { describe, expect, it } from 'vitest';
import { coverageClassNames } from '../../src/result/coverage.js';
import { type EvidenceInput, evidenceFigures, reliability } from './metrics/evidence.js';

const width = 40;
const height = 10;
const pixels = width * height;
const covered = coverageClassNames.indexOf('covered');

/** A flat truth at depth 3 with a hair at depth -2 along column 20, and maps that have it all right. */
function rightMaps(): EvidenceInput {
  const isHair = (i: number) => i % width === 20;
  const truth = Float32Array.from({ length: pixels }, (_, i) => (isHair(i) ? -2 : 3));
  return {
    depth: truth.slice(),
    truth,
    confidence: new Float32Array(pixels).fill(0.9),
    coverage: new Uint8Array(pixels).fill(covered),
    textured: new Uint8Array(pixels).fill(1),
    edgeDistancePx: Float32Array.from({ length: pixels }, (_, i) => Math.abs((i % width) - 20)),
    thin: Uint8Array.from({ length: pixels }, (_, i) => (isHair(i) ? 1 : 0)),
    ends: [-5, 5],
    width,
    height,
  };
}

describe('figures of the evidence', () => {
  it('find nothing wrong with maps that equal the truth', () => {
    expect(evidenceFigures(rightMaps())).toEqual({
      offNearPercent: 0,
      offMiddlePercent: 0,
      offElsewherePercent: Number.NaN,
      thinFoundPercent: 100,
      groundTakenPercent: 0,
      sureRightPercent: 100,
      surePercent: 100,
      allSureRightPercent: 100,
      coverageWrongPercent: 0,
    });
  });

  it('count ground that took the hair’s depth, by its distance', () => {
    const maps = rightMaps();
    for (let i = 0; i < pixels; i++) if (Math.abs((i % width) - 20) <= 2) maps.depth[i] = -2;
    const figures = evidenceFigures(maps);
    // 4 of the 20 columns within 10 px, and 4 of the 13 within 6 px, one of which is the hair.
    expect(figures.groundTakenPercent).toBeCloseTo(20, 6);
    expect(figures.offNearPercent).toBeCloseTo((100 * 4) / 13, 6);
    expect(figures.thinFoundPercent).toBe(100);
  });

  it('count a pixel without a depth as wrong', () => {
    const maps = rightMaps();
    maps.depth.fill(Number.NaN);
    const figures = evidenceFigures(maps);
    expect([figures.offNearPercent, figures.thinFoundPercent, figures.sureRightPercent]).toEqual([100, 0, 0]);
  });

  it('count smooth ground beyond the frames among what is sure, and not among what is textured', () => {
    const maps = rightMaps();
    for (let i = 0; i < pixels; i++) {
      if (i % width < 30) continue;
      maps.truth[i] = 20;
      maps.textured[i] = 0;
    }
    const { sureRightPercent, allSureRightPercent } = evidenceFigures(maps);
    expect([sureRightPercent, allSureRightPercent]).toEqual([100, 75]);
    for (let i = 0; i < pixels; i++) if (i % width >= 30) maps.confidence[i] = 0.4;
    expect(evidenceFigures(maps).allSureRightPercent).toBe(100);
  });

  it('expect what lies before the first frame to be called that, in either order of the stack', () => {
    for (const ends of [
      [4, 9],
      [9, 4],
    ] as const) {
      const maps = { ...rightMaps(), ends };
      const name = ends[0] < ends[1] ? 'before-first' : 'after-last';
      maps.coverage.fill(coverageClassNames.indexOf(name));
      expect(evidenceFigures(maps).coverageWrongPercent).toBe(0);
      maps.coverage.fill(covered);
      expect(evidenceFigures(maps).coverageWrongPercent).toBe(100);
    }
  });

  it('draw a reliability diagram whose bars hold all textured pixels', () => {
    const maps = rightMaps();
    maps.confidence.fill(0.95);
    for (let i = 0; i < pixels; i += 2) {
      maps.confidence[i] = 0.15;
      maps.depth[i] += 1.5;
    }
    const bars = reliability(maps).filter(({ sharePercent }) => sharePercent > 0);
    expect(bars).toEqual([
      { from: 0.1, sharePercent: 50, rightPercent: 0 },
      { from: 0.9, sharePercent: 50, rightPercent: 100 },
    ]);
  });
});

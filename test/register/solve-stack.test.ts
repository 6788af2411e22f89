import { describe, expect, it } from 'vitest';
import { median } from '../../src/image/median.js';
import {
  type CentredMotion,
  composeMotions,
  invertMotion,
  similarityToMotion,
} from '../../src/register/centred-motion.js';
import { type PairLink, solveStack } from '../../src/register/solve-stack.js';
import { SymmetricBand, solveSymmetric } from '../../src/register/symmetric-band.js';
import { normalRandom, seededRandom } from './textured-stack.js';

const radiusPx = 500;
const frameCount = 20;
const anchor = 7;

/** Frame -> anchor motions of a made-up rail, the anchor's the identity. */
function madeUpMotions(seed: number): CentredMotion[] {
  const random = seededRandom(seed);
  const raw = Array.from({ length: frameCount }, (_, k) =>
    similarityToMotion({
      scale: 1 / (1 + 0.002 * (k + 0.3 * random())),
      rollRad: 0.002 * normalRandom(random),
      shiftXPx: 40 * normalRandom(random),
      shiftYPx: 40 * normalRandom(random),
    }),
  );
  return raw.map((m) => composeMotions(invertMotion(raw[anchor]), m));
}

function link(motions: CentredMotion[], from: number, to: number, informationPx = 1e4): PairLink {
  const information = new Float64Array(16);
  for (let i = 0; i < 4; i++) information[i * 5] = informationPx;
  return {
    from,
    to,
    motion: composeMotions(invertMotion(motions[to]), motions[from]),
    information,
  };
}

function linksOf(motions: CentredMotion[]): PairLink[] {
  const links: PairLink[] = [];
  for (let k = 1; k < frameCount; k++) {
    links.push(link(motions, k - 1, k));
    if (k > 1) links.push(link(motions, k - 2, k));
  }
  return links;
}

function worstPx(found: (CentredMotion | undefined)[], expected: CentredMotion[]): number {
  return Math.max(
    ...expected.map((e, k) => {
      const f = found[k];
      return f
        ? Math.hypot(f.x - e.x, f.y - e.y) + radiusPx * Math.hypot(f.a - e.a, f.b - e.b)
        : Number.POSITIVE_INFINITY;
    }),
  );
}

const options = { frameCount, anchor, radiusPx, free: 'similarity', minErrorPx: 0.01 } as const;

describe('the solution of a whole stack', () => {
  it('returns the motions that all pairs agree on', () => {
    const motions = madeUpMotions(1);
    const { motions: found, residualsPx } = solveStack(linksOf(motions), options);
    // The prior on even steps may move it a little.
    expect(worstPx(found, motions)).toBeLessThan(0.02);
    expect(Math.max(...residualsPx)).toBeLessThan(0.02);
  });

  it('is hardly moved by one pair that is wrong', () => {
    const motions = madeUpMotions(2);
    const links = linksOf(motions);
    links[9].motion = { ...links[9].motion, x: links[9].motion.x + 30 };
    const { motions: found, residualsPx } = solveStack(links, options);
    expect(worstPx(found, motions)).toBeLessThan(0.2);
    // The frames of the wrong pair show it.
    expect(residualsPx[links[9].from]).toBeGreaterThan(4 * residualsPx[0]);
  });

  it('leaves frames that no pair joins to the anchor without a motion', () => {
    const motions = madeUpMotions(3);
    const links = linksOf(motions).filter(({ from, to }) => to < 12 || from >= 12);
    const { motions: found } = solveStack(links, options);
    expect(found.map((m) => m !== undefined)).toEqual(motions.map((_, k) => k < 12));
  });

  it('fills the scale of a badly measured frame from its neighbours, and only of that', () => {
    const motions = madeUpMotions(4);
    const poor = 14;
    const links = linksOf(motions).map((l) => {
      if (l.from !== poor && l.to !== poor) return l;
      const spoilt = link(motions, l.from, l.to, 1e4);
      spoilt.information[0] = 1e-4;
      spoilt.motion = { ...spoilt.motion, a: spoilt.motion.a * 1.05 };
      return spoilt;
    });
    const { motions: found } = solveStack(links, options);
    const scaleErrorsPx = found.map((m, k) => radiusPx * Math.abs((m as CentredMotion).a - motions[k].a));
    // Steps vary by up to 0.6 px at the radius; the spoilt pairs were wrong by 25 px.
    expect(scaleErrorsPx[poor]).toBeLessThan(0.6);
    expect(Math.max(...scaleErrorsPx.filter((_, k) => k !== poor))).toBeLessThan(0.05);
  });

  it('keeps the roll of the last frames within what the others turn where their pairs hardly show it', () => {
    const motions = madeUpMotions(5);
    const rollPx = (m: CentredMotion | undefined) => radiusPx * (m as CentredMotion).b;
    const scatterPx = Math.max(...motions.map((m) => Math.abs(rollPx(m))));
    const links = linksOf(motions).map((l) => {
      if (l.to < frameCount - 3) return l;
      const spoilt = link(motions, l.from, l.to, 1e4);
      spoilt.information[5] = 1e-2;
      // Each of the last three pairs errs to the same side.
      spoilt.motion = { ...spoilt.motion, b: spoilt.motion.b + (l.to - l.from) * 0.03 };
      return spoilt;
    });
    const { motions: found } = solveStack(links, options);
    expect(Math.abs(rollPx(found[frameCount - 1]))).toBeLessThan(3 * scatterPx);
    const wellMeasured = found
      .slice(0, frameCount - 3)
      .map((m, k) => Math.abs(rollPx(m) - rollPx(motions[k])));
    expect(Math.max(...wellMeasured)).toBeLessThan(0.02);
  });

  it('leaves a frame turned that was bumped', () => {
    const motions = madeUpMotions(6);
    motions[11] = { ...motions[11], b: motions[11].b + 0.04 };
    const { motions: found } = solveStack(linksOf(motions), options);
    expect(worstPx(found, motions)).toBeLessThan(0.03);
  });
});

describe('solveSymmetric', () => {
  it('solves a banded system as multiplication by it says', () => {
    const n = 30;
    const random = seededRandom(5);
    const matrix = new Float64Array(n * n);
    for (let row = 0; row < n; row++) {
      matrix[row * n + row] = 6;
      for (let col = Math.max(0, row - 3); col < row; col++) {
        matrix[row * n + col] = matrix[col * n + row] = random() - 0.5;
      }
    }
    const expected = Float64Array.from({ length: n }, () => random());
    const right = expected.map((_, row) =>
      expected.reduce((sum, x, col) => sum + matrix[row * n + col] * x, 0),
    );
    const band = new SymmetricBand(n, 3);
    matrix.forEach((value, i) => {
      if (value !== 0) band.add(Math.floor(i / n), i % n, value);
    });
    const banded = band.solve(right) as Float64Array;
    const full = solveSymmetric(matrix, right, n) as Float64Array;
    for (let i = 0; i < n; i++) {
      expect(banded[i]).toBeCloseTo(expected[i], 10);
      expect(full[i]).toBeCloseTo(expected[i], 10);
    }
  });

  it('pins an unknown of a band, and refuses elements outside of it', () => {
    const band = new SymmetricBand(5, 1);
    for (let i = 0; i < 5; i++) band.add(i, i, 2);
    for (let i = 1; i < 5; i++) band.add(i, i - 1, -1);
    band.pin(2);
    // Unknowns 0, 1 and 3, 4 are parted by the pinned one: [2 -1; -1 2] x = [3; 0] has the solution [2; 1].
    const solution = Array.from(band.solve(Float64Array.of(3, 0, 7, 0, 3)) as Float64Array);
    [2, 1, 7, 1, 2].forEach((value, i) => void expect(solution[i]).toBeCloseTo(value, 12));
    expect(() => band.add(3, 0, 1)).toThrow(RangeError);
  });

  it('holds a band of any length: memory grows with the size alone', () => {
    // As a full matrix it would take 51 GB.
    const n = 80_000;
    const band = new SymmetricBand(n, 8);
    for (let i = 0; i < n; i++) band.add(i, i, 4);
    expect((band.solve(new Float64Array(n).fill(8)) as Float64Array)[n - 1]).toBe(2);
  });

  it('says when a matrix is not positive definite', () => {
    expect(solveSymmetric(Float64Array.of(1, 2, 2, 1), Float64Array.of(1, 1), 2)).toBeUndefined();
  });
});

describe('median', () => {
  it('is the upper middle of the sorted values, whatever their order', () => {
    const random = seededRandom(6);
    for (let count = 1; count < 60; count++) {
      const values = Float64Array.from({ length: count }, () => Math.floor(20 * random()));
      const sorted = [...values].sort((p, q) => p - q);
      expect(median(values)).toBe(sorted[count >> 1]);
    }
    expect(median(new Float64Array(0))).toBe(0);
  });
});

describe('steps of the rail that are alike only in the mean', () => {
  it('add up to the whole travel where the pairs are unsure of the scale', () => {
    // Two steps in three are short: the middle one says too little of the whole.
    const steps = Array.from({ length: frameCount - 1 }, (_, k) => (k % 3 === 2 ? 1.3 : 0.85));
    let travel = 0;
    const raw = [0, ...steps].map((step) => {
      travel += step;
      return similarityToMotion({ scale: 1 / (1 + 0.002 * travel), rollRad: 0, shiftXPx: 0, shiftYPx: 0 });
    });
    const motions = raw.map((m) => composeMotions(invertMotion(raw[anchor]), m));
    const links = linksOf(motions);
    for (const { information } of links) information[0] = 1 / 0.5 ** 2;
    const found = solveStack(links, { frameCount, anchor, radiusPx, free: 'scale', minErrorPx: 0.01 });
    const wholePx = (all: readonly (CentredMotion | undefined)[]) =>
      radiusPx * ((all[0]?.a ?? 0) - (all[frameCount - 1]?.a ?? 0));
    expect(Math.abs(wholePx(found.motions) / wholePx(motions) - 1)).toBeLessThan(0.02);
  });
});

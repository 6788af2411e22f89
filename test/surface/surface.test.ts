import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { FocusTracker } from '../../src/focus/focus-tracker.js';
import { similarityMatrix } from '../../src/image/transform.js';
import { Arena } from '../../src/kernels/arena.js';
import { findSurface, readSurface } from '../../src/surface/surface.js';
import { StripPool } from '../../src/workers/pool.js';
import { depthIndexAt, frames, names, randomState, type State, storedIndex } from '../kernels/focus-state.js';
import { at, type Plane, pictureOf, randomFrom } from '../kernels/kernel-rig.js';

/** Large enough that the focus tracker follows four levels. */
const sizes = [
  [203, 101],
  [102, 51],
  [51, 26],
  [26, 13],
] as const;

describe('findSurface', () => {
  const pools: { arena: Arena; pool: StripPool }[] = [];
  beforeAll(async () => {
    for (const threads of [1, 3]) {
      const arena = new Arena();
      pools.push({ arena, pool: await StripPool.start(arena, threads, 1 << 20) });
    }
  });
  afterAll(async () => {
    for (const { pool } of pools) await pool.close();
  });

  /** The whole station over a state; noise stands at the tracker's 600 codes. */
  async function surfaceOf(
    states: readonly State[],
    nearSign: -1 | 0 | 1,
    which = 0,
    steps = new Array<number>(frames - 1).fill(1),
    blurPx?: number,
    growth = 0,
  ) {
    const { arena, pool } = pools[which];
    const mark = arena.mark();
    const [[w0, h0]] = sizes;
    const size = { width: w0, height: h0 };
    const toFrame = Array.from({ length: frames }, (_, k) =>
      similarityMatrix(
        { scale: 1 + growth * (k - 6), rollRad: 0, shiftXPx: 0, shiftYPx: 0 },
        size.width,
        size.height,
      ),
    );
    const bounds = { toFrame, frame: size };
    const tracker = new FocusTracker(arena, pool, size, size, sizes.length);
    states.forEach((state, level) => {
      for (const name of names) {
        if (level > 0 && (name === 'tones' || name === 'coarseTones')) continue;
        const stored = tracker.plane(level, name);
        const [w, h] = sizes[level];
        for (let y = 0; y < h; y++) {
          for (let x = 0; x < w; x++) stored[y * tracker.state[level].stride + x] = at(state[name], x, y);
        }
      }
    });
    const surface = await findSurface(arena, pool, tracker, bounds, nearSign, steps, blurPx, 1);
    const maps = await readSurface(arena, pool, surface, bounds);
    arena.release(mark);
    return { ...maps, detailShare: surface.detailShare };
  }

  it('does not depend on the number of threads', async () => {
    const states = sizes.map((size) => randomState(size, 21));
    const steps = new Array<number>(frames - 1).fill(1);
    const surfaces = [];
    for (const which of [0, 1]) surfaces.push(await surfaceOf(states, 1, which, steps, undefined, 0.02));
    expect(surfaces[1]).toEqual(surfaces[0]);
    // Frames that grow leave outer pixels to some of them alone.
    expect(surfaces[0].coverage.filter((kind) => kind === 5).length).toBeGreaterThan(200);
  });

  it('gives every pixel of a flat subject its one depth index, holes and all', async () => {
    const random = randomFrom(3);
    const flat = sizes.map(([w, h]): State => {
      const known = pictureOf(w, h, (x, y) => Number(x * 3 > w && y * 3 > h && random() < 0.5));
      const code = (plus: number) => pictureOf(w, h, (x, y) => at(known, x, y) * plus);
      return {
        ...randomState([w, h], 1),
        best: code(6000),
        before: code(5300),
        after: code(5300),
        second: code(0),
        bestOrdinal: code(6),
        secondOrdinal: code(0),
      };
    });
    const { depthIndices, confidence, coverage, detailShare } = await surfaceOf(flat, 1);
    expect(new Set(depthIndices)).toEqual(new Set([storedIndex(6)]));
    // Sure and covered where the curves are, unsure and without detail far from them. How sure it is which surface a pixel
    // shows is told by its own curves: at most 254 of 255, and nothing in a hole.
    const [[w]] = sizes;
    const shown = flat[0].best.data.findLastIndex(
      (code, i) => code > 0 && at(flat[1].best, (i % w) >> 1, Math.floor(i / w) >> 1) > 0,
    );
    expect(confidence[shown]).toBeGreaterThan(250);
    expect(coverage[shown]).toBe(0);
    expect(coverage.at(-1)).toBe(0);
    expect([confidence[0], coverage[0]]).toEqual([0, 4]);
    expect(detailShare).toBeGreaterThan(0.3);
    expect(detailShare).toBeLessThan(0.6);
  });

  /** Level 0 with the same codes before and after each peak, so that depth indices are exact; nothing at the coarser levels. */
  function lone(seed: number): State[] {
    const states = sizes.map((size) => randomState(size, seed));
    return states.map((state, level) => {
      const empty = pictureOf(state.best.width, state.best.height, () => 0);
      return level === 0
        ? { ...state, after: state.before }
        : { ...state, bestOrdinal: empty, secondOrdinal: empty };
    });
  }

  /** Differences of depth indices, frames, beyond which is not rounding. */
  const rounding = 8 / 64;

  it('mirrors with the order of the frames and the sign of near', async () => {
    const [state, ...coarser] = lone(22);
    const turn = (plane: Plane) =>
      pictureOf(plane.width, plane.height, (x, y) => at(plane, x, y) && frames + 1 - at(plane, x, y));
    const turned = {
      ...state,
      bestOrdinal: turn(state.bestOrdinal),
      secondOrdinal: turn(state.secondOrdinal),
    };
    const plain = await surfaceOf([state, ...coarser], 1);
    const mirrored = await surfaceOf([turned, ...coarser], -1);
    const apart = plain.depthIndices.map((depthIndex, i) =>
      Math.abs(64 * (depthIndexAt(depthIndex) + depthIndexAt(mirrored.depthIndices[i]) - (frames + 1))),
    );
    expect(Math.max(...apart)).toBeLessThanOrEqual(64 * rounding);
    const classes = [0, 2, 1, 3, 4];
    const same = plain.coverage.filter((kind, i) => classes[kind] === mirrored.coverage[i]).length;
    expect(same / plain.coverage.length).toBeGreaterThan(0.99);
  });

  it('mirrors with the picture', async () => {
    const states = lone(23);
    const flip = (plane: Plane) =>
      pictureOf(plane.width, plane.height, (x, y) => at(plane, plane.width - 1 - x, y));
    const flipped = states.map(
      (state) => Object.fromEntries(names.map((name) => [name, flip(state[name])])) as State,
    );
    const plain = await surfaceOf(states, 1);
    const mirrored = await surfaceOf(flipped, 1);
    const [[w]] = sizes;
    const apart = plain.depthIndices.filter((depthIndex, i) => {
      const other = mirrored.depthIndices[i - (i % w) + w - 1 - (i % w)];
      return Math.abs(depthIndexAt(depthIndex) - depthIndexAt(other)) > rounding;
    });
    // Sums of the averaging in another order may round a support the other way, and its label with it.
    expect(apart.length / plain.depthIndices.length).toBeLessThan(0.001);
  });
});

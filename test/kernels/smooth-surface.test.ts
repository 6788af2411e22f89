import { beforeAll, describe, expect, it } from 'vitest';
import { depthIndexAt, endsOf, fractionBits, frames, soilEnds, storedIndex } from './focus-state.js';
import { at, KernelRig, type Plane, pictureOf, randomFrom, worstDifference } from './kernel-rig.js';

let rig: KernelRig;
beforeAll(async () => {
  rig = await KernelRig.start();
});

const [width, height] = [53, 37];

/** A map of depth indices about two surfaces, and weights: unknown, weak and sure. */
function randomMap(w: number, h: number, seed: number, most = 12_000) {
  const random = randomFrom(seed);
  const weights = pictureOf(w, h, () => (random() < 0.4 ? 0 : Math.floor(random() ** 3 * most)));
  const depthIndices = pictureOf(w, h, (x, y) => {
    if (at(weights, x, y) === 0 && random() < 0.5) return 0;
    return storedIndex((x * 2 > w ? 9 : 4) + random() * 1.5);
  });
  return { depthIndices, weights };
}

interface Map2 {
  depthIndices: Plane;
  weights: Plane;
}

function smooth({ depthIndices, weights }: Map2, step: number, tolerance = 1.2): Map2 {
  const [from, to] = [rig.storeCodes([depthIndices, weights]), rig.storeCodes([depthIndices, weights])];
  soilEnds(rig, to, 1);
  const pointers = [from, to].flatMap(({ pointer, planeBytes }) => [pointer, pointer + planeBytes]);
  rig.run(
    'smoothStrip',
    [...pointers, from.stride, depthIndices.width, depthIndices.height, step, tolerance, fractionBits],
    depthIndices.height,
  );
  // The next pass counts on it: nothing is known beyond the ends of rows.
  expect(endsOf(rig, to, 1)).toEqual(new Set([0]));
  return { depthIndices: rig.read(to, 0), weights: rig.read(to, 1) };
}

/** Depth index of pixel (x, y) of level 0 from level 1: see assembly/surface.ts. */
function enlargedAt(coarse: Plane, own: number, x: number, y: number, same: number): number {
  const [u, v] = [x >> 1, y >> 1];
  const of = (i: number, j: number) =>
    at(coarse, Math.min(coarse.width - 1, u + i), Math.min(coarse.height - 1, v + j));
  const across = x % 2 === 1 ? [0, 1] : [0];
  const down = y % 2 === 1 ? [0, 1] : [0];
  const rows = down.map((j) => across.map((i) => of(i, j)));
  const all = rows.flat();
  if (Math.max(...all) - Math.min(...all) > same) {
    const nearest = Math.min(...all.map((value) => Math.abs(value - own)));
    return all.find((value) => Math.abs(value - own) === nearest)!;
  }
  const mean = (values: number[]) => Math.floor((values[0] + (values[1] ?? values[0]) + 1) / 2);
  return mean(rows.map(mean));
}

describe('enlargeStrip', () => {
  it.each([
    [53, 37, 6],
    [64, 40, 6],
    [30, 21, 4],
    [1, 3, 6],
    [16, 1, 6],
  ])(
    'goes on between pixels of one surface, and beside an edge takes the one in focus, %i x %i, %i fraction bits',
    (w, h, bits) => {
      const random = randomFrom(w);
      const [cw, ch] = [(w + 1) >> 1, (h + 1) >> 1];
      const coarse = pictureOf(cw, ch, (x, y) =>
        Math.floor((((x >> 2) + (y >> 2)) % 2 === 0 ? 6 : 11.5) * 2 ** bits + random() * 1.6 * 2 ** bits),
      );
      const ordinals = pictureOf(w, h, () => Math.floor(random() * 12));
      const same = Math.round(1.2 * 2 ** bits);
      const [from, of, to] = [coarse, ordinals, ordinals].map((plane) => rig.storeCodes([plane]));
      rig.run(
        'enlargeStrip',
        [from.pointer, from.stride, cw, ch, of.pointer, to.pointer, to.stride, w, h, same, bits],
        h,
      );
      const expected = pictureOf(w, h, (x, y) =>
        enlargedAt(coarse, (at(ordinals, x, y) + 4) * 2 ** bits, x, y, same),
      );
      expect(rig.read(to)).toEqual(expected);
    },
  );
});

describe('smoothStrip', () => {
  it.each([
    [1, 53, 37],
    [2, 30, 21],
    [4, 61, 35],
    [6, 17, 9],
  ])('weighs neighbours by how near their depthIndex is, %i px apart, %i x %i', (step, w, h) => {
    const map = randomMap(w, h, step);
    const tolerance = 1.2;
    const found = smooth(map, step, tolerance);
    const taps = [1, 2, 1].map((tap) => tap / 4);
    let unknown = 0;
    for (let y = 0; y < h; y++) {
      for (let x = 0; x < w; x++) {
        const own = depthIndexAt(at(map.depthIndices, x, y));
        // The weight is the mean over those that agree; those that are unknown count as weight 0.
        let agreeing = 0;
        let sum = 0;
        let sumPlace = 0;
        for (let j = -1; j <= 1; j++) {
          for (let i = -1; i <= 1; i++) {
            const [u, v] = [x + i * step, y + j * step];
            if (u < 0 || v < 0 || u >= w || v >= h) continue;
            const tap = taps[i + 1] * taps[j + 1];
            const known = at(map.weights, u, v);
            const depthIndex = depthIndexAt(at(map.depthIndices, u, v));
            const apart = at(map.weights, x, y) > 0 ? ((depthIndex - own) / tolerance) ** 2 : 0;
            const agrees = tap / (1 + apart ** 2);
            agreeing += known > 0 ? agrees : tap;
            sum += agrees * known;
            sumPlace += agrees * known * depthIndex;
          }
        }
        const depthIndex = sum > 0 ? sumPlace / sum : own;
        const weight = sum / agreeing;
        expect(Math.abs(depthIndexAt(at(found.depthIndices, x, y)) - depthIndex)).toBeLessThan(0.51 / 64);
        expect(Math.abs(at(found.weights, x, y) - weight)).toBeLessThan(0.51 + 1e-5 * weight);
        if (at(map.weights, x, y) === 0) unknown++;
      }
    }
    expect(unknown).toBeGreaterThan(20);
  });

  it('keeps the weight beside another surface, which says nothing of its own, and loses it beside the unknown', () => {
    const step = pictureOf(width, height, (x) => storedIndex(x < 20 ? 3 : 40));
    const edge = smooth({ depthIndices: step, weights: pictureOf(width, height, () => 900) }, 1);
    expect(
      worstDifference(
        edge.weights,
        pictureOf(width, height, () => 900),
      ),
    ).toBeLessThanOrEqual(1);
    const half = pictureOf(width, height, (x) => (x < 20 ? 900 : 0));
    const shore = smooth({ depthIndices: step, weights: half }, 1);
    // Of the taps [1 2 1] / 4, the last known column lacks 1.
    expect(Math.abs(at(shore.weights, 19, 18) - (900 * 3) / 4)).toBeLessThanOrEqual(1);
    expect(at(shore.weights, 10, 18)).toBe(900);
  });

  it('keeps a constant depth index constant', () => {
    const map = randomMap(width, height, 3);
    const depthIndices = pictureOf(width, height, (x, y) =>
      at(map.weights, x, y) > 0 ? storedIndex(5.25) : 0,
    );
    const found = smooth({ ...map, depthIndices }, 2);
    const expected = pictureOf(width, height, (x, y) =>
      at(found.weights, x, y) > 0 ? storedIndex(5.25) : at(found.depthIndices, x, y),
    );
    expect(worstDifference(found.depthIndices, expected)).toBe(0);
    expect(found.weights.data.filter((weight) => weight > 0).length).toBeGreaterThan(1800);
  });

  it('leaves a sure depth index alone: unsure neighbours do not move it, nor does another surface', () => {
    const { depthIndices } = randomMap(width, height, 4);
    const lone = (x: number, y: number) => x % 5 === 0 && y % 5 === 0;
    const sparse = smooth(
      { depthIndices, weights: pictureOf(width, height, (x, y) => (lone(x, y) ? 900 : 0)) },
      1,
    );
    const step = pictureOf(width, height, (x) => storedIndex(x < 20 ? 3 : 11));
    const edge = smooth({ depthIndices: step, weights: pictureOf(width, height, () => 900) }, 1);
    for (let y = 0; y < height; y += 5) {
      for (let x = 0; x < width; x += 5) expect(at(sparse.depthIndices, x, y)).toBe(at(depthIndices, x, y));
    }
    expect(worstDifference(edge.depthIndices, step)).toBeLessThanOrEqual(1);
  });
});

const half = (n: number) => (n + 1) >> 1;

function push({ depthIndices, weights }: Map2, full: number): Map2 {
  const fine = rig.storeCodes([depthIndices, weights]);
  const [w, h] = [half(depthIndices.width), half(depthIndices.height)];
  const blank = pictureOf(w, h, () => 7);
  const out = rig.storeCodes([blank, blank]);
  rig.run(
    'pushStrip',
    [
      fine.pointer,
      fine.pointer + fine.planeBytes,
      fine.stride,
      fine.width,
      fine.height,
      full,
      out.pointer,
      out.pointer + out.planeBytes,
      out.stride,
      w,
      h,
    ],
    h,
  );
  return { depthIndices: rig.read(out, 0), weights: rig.read(out, 1) };
}

function pull({ depthIndices, weights }: Map2, full: number, coarse: Plane): Plane {
  const fine = rig.storeCodes([depthIndices, weights]);
  const from = rig.storeCodes([coarse]);
  rig.run(
    'pullStrip',
    [
      fine.pointer,
      fine.pointer + fine.planeBytes,
      fine.stride,
      fine.width,
      fine.height,
      full,
      from.pointer,
      from.stride,
      from.width,
      from.height,
    ],
    fine.height,
  );
  return rig.read(fine, 0);
}

describe.each([
  [53, 37, 320],
  [30, 21, 0],
  [7, 1, 320],
  [1, 9, 0],
])('push and pull, %i x %i, full weight %i', (w, h, full) => {
  const map = randomMap(w, h, 2, full === 0 ? 32_768 : 600);
  const confidence = (x: number, y: number) => Math.min(1, at(map.weights, x, y) / (full || 32_768));

  it('pushes weighted means and sums of confidence', () => {
    const found = push(map, full);
    for (let y = 0; y < half(h); y++) {
      for (let x = 0; x < half(w); x++) {
        const four = [0, 1, 2, 3]
          .map((i) => [2 * x + (i & 1), 2 * y + (i >> 1)] as const)
          .filter(([u, v]) => u < w && v < h);
        const sum = four.reduce((all, [u, v]) => all + confidence(u, v), 0);
        const depthIndex =
          four.reduce((all, [u, v]) => all + confidence(u, v) * at(map.depthIndices, u, v), 0) / sum;
        // Each of the four confidences is cut to 1/32768, which moves a mean of small ones a little.
        expect(Math.abs(at(found.weights, x, y) / 32_768 - Math.min(1, sum))).toBeLessThan(4.1 / 32_768);
        if (sum === 0) expect(at(found.depthIndices, x, y)).toBe(0);
        else expect(Math.abs(at(found.depthIndices, x, y) - depthIndex)).toBeLessThanOrEqual(1);
      }
    }
  });

  it('pulls the coarser map bilinearly into what is unsure', () => {
    const random = randomFrom(12);
    const coarse = pictureOf(half(w), half(h), () => storedIndex(random() * frames));
    const found = pull(map, full, coarse);
    const linear = (i: number, n: number) => {
      const position = Math.max(0, Math.min(n - 1, i / 2 - 0.25));
      const low = Math.min(Math.floor(position), Math.max(0, n - 2));
      return [low, Math.min(n - 1, low + 1), position - low] as const;
    };
    for (let y = 0; y < h; y++) {
      for (let x = 0; x < w; x++) {
        const [x0, x1, fx] = linear(x, half(w));
        const [y0, y1, fy] = linear(y, half(h));
        const row = (v: number) => at(coarse, x0, v) * (1 - fx) + at(coarse, x1, v) * fx;
        const filled = row(y0) * (1 - fy) + row(y1) * fy;
        const share = confidence(x, y);
        const depthIndex = share * at(map.depthIndices, x, y) + (1 - share) * filled;
        expect(Math.abs(at(found, x, y) - depthIndex)).toBeLessThanOrEqual(share === 1 ? 0 : 0.52);
      }
    }
  });

  it('keeps a constant depth index constant', () => {
    const depthIndices = pictureOf(w, h, () => storedIndex(7.5));
    const coarse = push({ ...map, depthIndices }, full);
    coarse.weights.data.forEach((weight, i) => {
      if (weight > 0) expect(coarse.depthIndices.data[i]).toBe(storedIndex(7.5));
    });
    const filled = pictureOf(half(w), half(h), () => storedIndex(7.5));
    const blank = pictureOf(w, h, (x, y) => (at(map.weights, x, y) > 0 ? storedIndex(7.5) : 0));
    expect(worstDifference(pull({ ...map, depthIndices: blank }, full, filled), depthIndices)).toBe(0);
  });
});

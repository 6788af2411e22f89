import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { blendDelta } from '../../src/mend/delta-pyramid.js';
import { growMask, levelsFor, pyramidRadius } from '../../src/mend/feather.js';
import { parseMendRegion, regionBounds, regionMask } from '../../src/mend/mend-region.js';
import { seededRandom } from '../outside/seeded-random.js';

const anySize = fc.record({
  width: fc.integer({ min: 1, max: 70 }),
  height: fc.integer({ min: 1, max: 70 }),
});

function randomPlane(count: number, seed: number): Float32Array {
  const random = seededRandom(seed);
  return Float32Array.from({ length: count }, () => random() * 510 - 255);
}

describe('a difference blended by a pyramid', () => {
  test('stays whole where the mask is all 1, on any size and depth', () => {
    fc.assert(
      fc.property(anySize, fc.integer({ min: 0, max: 5 }), (size, levels) => {
        const count = size.width * size.height;
        const plane = randomPlane(count, count);
        const before = plane.slice();
        blendDelta([plane], new Float32Array(count).fill(1), size, levels);
        plane.forEach((value, i) => {
          expect(Math.abs(value - before[i])).toBeLessThan(1e-3);
        });
      }),
      { numRuns: 60 },
    );
  });

  test.each([1, 2, 3, 4])('is exactly nothing beyond the reach of a mask pixel, %i levels', (levels) => {
    const size = { width: 301, height: 290 };
    const count = size.width * size.height;
    for (const [mx, my] of [
      [150, 145],
      [157, 148],
    ]) {
      const plane = randomPlane(count, levels);
      const mask = new Float32Array(count);
      mask[my * size.width + mx] = 1;
      blendDelta([plane], mask, size, levels);
      let farthest = 0;
      plane.forEach((value, i) => {
        const x = i % size.width;
        const y = (i - x) / size.width;
        if (value !== 0) farthest = Math.max(farthest, Math.abs(x - mx), Math.abs(y - my));
      });
      expect(farthest).toBeLessThanOrEqual(pyramidRadius(levels));
      // The bound is tight: a rule that gave twice as much would cut the feather in half for nothing.
      expect(farthest).toBeGreaterThan(pyramidRadius(levels) / 2);
    }
  });

  test('turns an edge of brightness into a slope', () => {
    const size = { width: 200, height: 40 };
    const plane = new Float32Array(8000).fill(100);
    const mask = Float32Array.from({ length: 8000 }, (_, i) => (i % 200 < 100 ? 1 : 0));
    blendDelta([plane], mask, size, 3);
    const row = plane.subarray(20 * 200, 21 * 200);
    const steps = Array.from({ length: 199 }, (_, x) => row[x] - row[x + 1]);
    expect(Math.min(...steps)).toBeGreaterThan(-1e-3);
    expect(Math.max(...steps)).toBeLessThan(12);
    expect(row[60]).toBeCloseTo(100, 3);
    expect(row[140]).toBe(0);
  });
});

test('levels fit in half the feather, along diagonals too, and use it', () => {
  for (let feather = 0; feather <= 400; feather++) {
    const levels = levelsFor(feather);
    expect(pyramidRadius(levels) * Math.SQRT2).toBeLessThanOrEqual(feather / 2 + 1e-9);
    expect(pyramidRadius(levels + 1) * Math.SQRT2).toBeGreaterThan(feather / 2);
  }
});

test('a mask grows by a disc', () => {
  const shapes = fc.record({
    width: fc.integer({ min: 1, max: 30 }),
    height: fc.integer({ min: 1, max: 30 }),
    dots: fc.array(fc.tuple(fc.nat(29), fc.nat(29)), { maxLength: 4 }),
    radius: fc.double({ min: 0, max: 14, noNaN: true }),
  });
  fc.assert(
    fc.property(shapes, ({ width, height, dots, radius }) => {
      const inside = dots.filter(([x, y]) => x < width && y < height);
      const mask = new Uint8Array(width * height);
      for (const [x, y] of inside) mask[y * width + x] = 1;
      const grown = growMask(mask, width, height, radius);
      for (let y = 0; y < height; y++) {
        for (let x = 0; x < width; x++) {
          const isNear = inside.some(([dx, dy]) => (dx - x) ** 2 + (dy - y) ** 2 <= radius ** 2);
          expect(grown[y * width + x]).toBe(isNear ? 1 : 0);
        }
      }
    }),
    { numRuns: 80 },
  );
});

test('an outline holds the pixels that a ray from them crosses oddly often', () => {
  // Corners off the grid: on it, a ray through a corner has no one answer. Nor has a pixel that a
  // side runs through, which is not judged.
  const corner = fc
    .tuple(fc.nat(290), fc.nat(290))
    .map(([x, y]): [number, number] => [x / 10 + 0.033, y / 10 + 0.047]);
  fc.assert(
    fc.property(fc.array(corner, { minLength: 3, maxLength: 9 }), (points) => {
      const window = { x: 2, y: 1, width: 26, height: 28 };
      const mask = regionMask({ kind: 'polygon', points }, window);
      mask.forEach((value, i) => {
        const x = window.x + (i % window.width);
        const y = window.y + Math.floor(i / window.width);
        let crossings = 0;
        let isOnSide = false;
        points.forEach(([x2, y2], j) => {
          const [x1, y1] = points[(j + points.length - 1) % points.length];
          // Straight up from the pixel, whereas the code walks along rows.
          if (x1 > x === x2 > x) return;
          const above = y - (y1 + ((x - x1) / (x2 - x1)) * (y2 - y1));
          if (above > 0) crossings++;
          if (Math.abs(above) < 1e-6) isOnSide = true;
        });
        if (!isOnSide) expect(value).toBe(crossings % 2);
      });
    }),
    { numRuns: 80 },
  );
});

test.each([
  ['3,4,10,20', { kind: 'rectangle', x: 3, y: 4, width: 10, height: 20 }],
  [
    '1,2 30,4 5,60',
    {
      kind: 'polygon',
      points: [
        [1, 2],
        [30, 4],
        [5, 60],
      ],
    },
  ],
  [
    '1,2;30.5,4;5,60',
    {
      kind: 'polygon',
      points: [
        [1, 2],
        [30.5, 4],
        [5, 60],
      ],
    },
  ],
])('%s is read', (text, region) => {
  expect(parseMendRegion(text)).toEqual(region);
});

test.each(['', '1,2', '1,2,3', '1,2,0,4', '1.5,2,3,4', 'a,b,c,d', '1,2 3,4', '1,2 3,4 5', '1,2,3,1e9x'])(
  '"%s" is refused in words',
  (text) => {
    expect(() => parseMendRegion(text)).toThrow(/Expected x,y,w,h .* for region but received/);
  },
);

test('the bounds of a very long outline are found', () => {
  const points = Array.from({ length: 200_000 }, (_, i): [number, number] => [i % 100, i / 4000]);
  expect(regionBounds({ kind: 'polygon', points }, { width: 100, height: 100 })).toMatchObject({
    x: 0,
    y: 0,
  });
});

import { describe, expect, test } from 'vitest';
import { createRandom } from '../../samples/random.js';
import { similarityMatrix } from '../../src/image/transform.js';
import { rimRadius } from '../../src/model/constants/rail.js';
import {
  findDust,
  pickDust,
  planDustSearch,
  planeShrink,
  type SpotPlane,
  searchSpots,
  withoutHotPixels,
} from '../../src/rail/find-dust.js';
import { searchHotPixels } from '../../src/rail/hot-pixels.js';
import { spotLight } from '../kernels/reading-twin.js';

const size = { width: 200, height: 160 };
const count = 14;

/** A texture of waves that can be read anywhere, 8-bit levels. */
function textureOf(seed: number): (x: number, y: number) => number {
  const random = createRandom(seed, 'texture');
  const waves = Array.from({ length: 24 }, () => {
    const frequency = 0.02 * 2 ** random.between(0, 3);
    const angle = random.between(0, Math.PI);
    return { u: frequency * Math.cos(angle), v: frequency * Math.sin(angle), phase: random.between(0, 7) };
  });
  return (x, y) =>
    120 +
    waves.reduce((sum, { u, v, phase }) => sum + 4 * Math.sin(2 * Math.PI * (u * x + v * y) + phase), 0);
}

interface Speck {
  x: number;
  y: number;
  /** Fixed on the sensor, or on the subject. */
  on: 'sensor' | 'subject';
}

/** Frames that are shifted at random; `move` px each way. */
function planes(specks: readonly Speck[], move = 3, seed = 1): SpotPlane[] {
  const random = createRandom(seed, 'frames');
  const texture = textureOf(seed);
  return Array.from({ length: count }, () => {
    const shiftX = random.between(-move, move);
    const shiftY = random.between(-move, move);
    const luma = Float32Array.from({ length: size.width * size.height }, (_, i) => {
      const x = i % size.width;
      const y = Math.floor(i / size.width);
      const passed = specks.reduce((light, speck) => {
        const [u, v] =
          speck.on === 'sensor' ? [x - speck.x, y - speck.y] : [x + shiftX - speck.x, y + shiftY - speck.y];
        return light * (1 - 0.12 * Math.exp(-(u * u + v * v) / (2 * 2.5 ** 2)));
      }, 1);
      return texture(x + shiftX, y + shiftY) * passed + 1.2 * random.normal();
    });
    const matrix = similarityMatrix(
      { scale: 1, rollRad: 0, shiftXPx: shiftX, shiftYPx: shiftY },
      size.width,
      size.height,
    );
    return { light: spotLight(luma, size, 1), matrix };
  });
}

/** Frames of even grounds, 8-bit levels, with a speck at (60, 50) of the sensor. */
function speckOn(grounds: readonly number[]): SpotPlane[] {
  const random = createRandom(1, 'ground');
  return grounds.map((ground): SpotPlane => {
    const similarity = {
      scale: 1,
      rollRad: 0,
      shiftXPx: random.between(-3, 3),
      shiftYPx: random.between(-3, 3),
    };
    const luma = Float32Array.from({ length: size.width * size.height }, (_, i) => {
      const off = Math.hypot((i % size.width) - 60, Math.floor(i / size.width) - 50);
      return ground * (1 - 0.2 * Math.exp(-(off * off) / 12)) + 0.2 * random.normal();
    });
    return { light: spotLight(luma, size, 1), matrix: similarityMatrix(similarity, size.width, size.height) };
  });
}

describe('dust', () => {
  test.each([1, 2, 3])('is found where it lies on the sensor, and nowhere else; seed %i', (seed) => {
    const found = findDust(
      [
        planes(
          [
            { x: 60, y: 50, on: 'sensor' },
            { x: 140, y: 110, on: 'sensor' },
          ],
          3,
          seed,
        ),
      ],
      size,
      1,
    );
    expect(found).toHaveLength(2);
    for (const [x, y] of [
      [60, 50],
      [140, 110],
    ]) {
      expect(Math.min(...found.map((spot) => Math.hypot(spot.x - x, spot.y - y)))).toBeLessThan(3);
    }
  });

  test('is the same in whatever bands of rows it is searched', () => {
    const specks: Speck[] = [
      { x: 60, y: 50, on: 'sensor' },
      { x: 140, y: 110, on: 'sensor' },
    ];
    const search = planDustSearch([planes(specks)], size, 1)!;
    const whole = searchSpots(search, 0, size.height);
    expect(whole.length).toBeGreaterThanOrEqual(2);
    const edges = [0, 1, 40, 51, 52, 113, size.height];
    const parts = edges.slice(1).flatMap((to, i) => searchSpots(search, edges[i], to));
    const byPlace = (one: (typeof whole)[number], other: typeof one) =>
      one.radius - other.radius || one.y - other.y || one.x - other.x;
    expect(parts.sort(byPlace)).toEqual(whole.sort(byPlace));
    expect(pickDust(parts, 1)).toEqual(findDust([planes(specks)], size, 1));
  });

  test('is reported in full-size pixels', () => {
    const [spot] = findDust(
      [
        planes([{ x: 60, y: 50, on: 'sensor' }]).map(({ light, matrix }) => ({
          light,
          // The same motion of a picture four times as large.
          matrix: [1, 0, 4 * matrix[2], 0, 1, 4 * matrix[5], 0, 0, 1] as const,
        })),
      ],
      size,
      4,
    );
    expect(Math.abs(spot.x - 4 * 60)).toBeLessThan(12);
    expect(Math.abs(spot.y - 4 * 50)).toBeLessThan(12);
  });

  test('a dark spot of the subject is none', () => {
    expect(findDust([planes([{ x: 60, y: 50, on: 'subject' }])], size, 1)).toEqual([]);
  });

  test('is not reported where the picture does not move, as nothing distinguishes it from the subject', () => {
    expect(findDust([planes([{ x: 60, y: 50, on: 'sensor' }], 0)], size, 1)).toEqual([]);
  });

  test('is not reported on ground that is nearly black in some frames, where light does not dim by a constant factor', () => {
    const grounds = (dark: number) => Array.from({ length: count }, (_, k) => (k < dark ? 20 : 60));
    expect(findDust([speckOn(grounds(0))], size, 1)).toHaveLength(1);
    expect(findDust([speckOn(grounds(5))], size, 1)).toEqual([]);
  });

  test.each([
    [60, 1],
    [6, 0],
  ])('on a ground of %i levels %i specks are reported: on black dust is invisible', (ground, specks) => {
    expect(findDust([speckOn(new Array(count).fill(ground))], size, 1)).toHaveLength(specks);
  });

  test('planes of large pictures are smaller', () => {
    expect(planeShrink({ width: 640, height: 480 })).toBe(1);
    expect(planeShrink({ width: 1500, height: 1000 })).toBe(2);
  });
});

describe('hot pixels', () => {
  const frame = (seed: number, hot: readonly number[]) => {
    const random = createRandom(seed, 'hot');
    const pixels = Uint8Array.from({ length: 60 * 40 * 3 }, () => 60 + 20 * random.unit());
    for (const sample of hot) pixels[sample] = 220;
    return { pixels, width: 60, height: 40, channels: 3, bits: 8, shrink: 1 } as const;
  };
  const sampleAt = (x: number, y: number, channel: number) => (y * 60 + x) * 3 + channel;

  test('are those that stand out in every frame', () => {
    const search = searchHotPixels();
    const always = [sampleAt(20, 10, 0), sampleAt(33, 30, 2)];
    search.add(frame(1, [...always, sampleAt(5, 5, 1)]));
    search.add(frame(2, [...always, sampleAt(50, 20, 1)]));
    search.add(frame(3, always));
    expect(search.found()).toEqual([
      { x: 20, y: 10 },
      { x: 33, y: 30 },
    ]);
  });

  test('all are found, however many there are', () => {
    const search = searchHotPixels();
    const spots = Array.from({ length: 12 * 8 }, (_, i) => ({
      x: 2 + 5 * (i % 12),
      y: 2 + 5 * ((i / 12) | 0),
    }));
    for (let seed = 1; seed <= 3; seed++)
      search.add(
        frame(
          seed,
          spots.map(({ x, y }) => sampleAt(x, y, 1)),
        ),
      );
    expect(search.found()).toEqual(spots);
  });

  test('two frames are too few', () => {
    const search = searchHotPixels();
    search.add(frame(1, [sampleAt(20, 10, 0)]));
    search.add(frame(2, [sampleAt(20, 10, 0)]));
    expect(search.found()).toEqual([]);
  });
});

test('a place beside a hot pixel is no dust, unless planes average pixels and hardly show it', () => {
  const hotPixels = [{ x: 12, y: 382 }];
  const beside = { x: 15, y: 382, radius: rimRadius };
  const apart = { x: 25, y: 382, radius: rimRadius };
  const averaged = { ...beside, radius: 2 * rimRadius };
  expect(withoutHotPixels([beside, apart, averaged], hotPixels)).toEqual([apart, averaged]);
  expect(withoutHotPixels([beside], [])).toEqual([beside]);
});

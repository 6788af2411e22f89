import { deflateRawSync } from 'node:zlib';
import fc from 'fast-check';
import ops from 'ndarray-ops';
import { describe, expect, it } from 'vitest';
import { similarityMatrix } from '../../src/image/transform.js';
import { partOf, viewOf } from '../../src/image/view.js';
import { boxSum, localDeviation } from '../quality/metrics/box.js';
import { depthErrors } from '../quality/metrics/depth.js';
import { findDepthEdges } from '../quality/metrics/depth-edges.js';
import { distanceTransform } from '../quality/metrics/distance.js';
import { motionErrors } from '../quality/metrics/motion.js';
import { backgroundNoise } from '../quality/metrics/noise.js';
import { median, robustDeviation } from '../quality/metrics/statistics.js';
import { readNpz } from '../quality/npz.js';
import { seededNormal, seededRandom } from './seeded-random.js';

/** A picture of up to 24 x 24 with seeds anywhere, also nowhere. */
const seedPictures = fc
  .tuple(
    fc.integer({ min: 1, max: 24 }),
    fc.integer({ min: 1, max: 24 }),
    fc.integer(),
    fc.constantFrom(0.01, 0.1, 0.6),
  )
  .map(([width, height, seed, share]) => {
    const random = seededRandom(Math.abs(seed));
    return {
      width,
      height,
      seeds: Uint8Array.from({ length: width * height }, () => (random() < share ? 1 : 0)),
    };
  });

describe('distance transform', () => {
  it('equals the search over all seeds and names one of the nearest', () => {
    fc.assert(
      fc.property(seedPictures, ({ width, height, seeds }) => {
        const { squared, nearest } = distanceTransform(seeds, width, height);
        const places = [...seeds.keys()].filter((i) => seeds[i] === 1);
        const apart = (i: number, j: number) =>
          ((i % width) - (j % width)) ** 2 + (Math.floor(i / width) - Math.floor(j / width)) ** 2;
        for (let i = 0; i < seeds.length; i++) {
          const expected = Math.min(...places.map((place) => apart(i, place)));
          expect(squared[i]).toBe(expected);
          if (places.length === 0) expect(nearest[i]).toBe(-1);
          else expect([seeds[nearest[i]], apart(i, nearest[i])]).toEqual([1, expected]);
        }
      }),
    );
  });
});

describe('depth edges', () => {
  const width = 80;
  const height = 40;
  /** A near plane (depth 0) left of x = 30, a far one right of it. */
  const cliff = (farDepth: number) =>
    Float32Array.from({ length: width * height }, (_, i) => (i % width < 30 ? 0 : farDepth));

  it('lie on both sides of a cliff of more than 2 steps, the ring of glow on the far side', () => {
    const { distancePx, farRing } = findDepthEdges(cliff(5), width, height);
    const row = 20 * width;
    expect([28, 29, 30, 31, 40].map((x) => distancePx[row + x])).toEqual([1, 0, 0, 1, 10]);
    // Nearer side ends at x = 29: the ring is x = 32 to 44.
    const ring = [...Array(width).keys()].filter((x) => farRing[row + x] === 1);
    expect([ring[0], ring.length, ring[ring.length - 1]]).toEqual([32, 13, 44]);
  });

  it('are not where the depth changes by 2 steps or is unknown', () => {
    for (const depth of [2, Number.NaN]) {
      const { distancePx, farRing } = findDepthEdges(cliff(depth), width, height);
      expect(distancePx[0]).toBe(Number.POSITIVE_INFINITY);
      expect(farRing.includes(1)).toBe(false);
    }
  });
});

describe('box sums', () => {
  it('equal sums over boxes cut at the borders', () => {
    const [width, height] = [17, 11];
    const size = { width, height };
    const random = seededRandom(5);
    const plane = Float32Array.from({ length: width * height }, () => Math.floor(random() * 100));
    for (const radius of [0, 2, 4, 12]) {
      const sums = boxSum(plane, width, height, radius);
      const deviations = localDeviation(plane, width, height, radius);
      for (let y = 0; y < height; y++) {
        for (let x = 0; x < width; x++) {
          const [left, top] = [Math.max(0, x - radius), Math.max(0, y - radius)];
          const box = partOf(viewOf(plane, size), {
            ...{ x: left, y: top },
            ...{
              width: Math.min(width, x + radius + 1) - left,
              height: Math.min(height, y + radius + 1) - top,
            },
          });
          const mean = ops.sum(box) / box.size;
          expect(viewOf(sums, size).get(y, x)).toBe(ops.sum(box));
          // norm2squared is the sum of the squares.
          const variance = ops.norm2squared(box) / box.size - mean ** 2;
          expect(viewOf(deviations, size).get(y, x)).toBeCloseTo(Math.sqrt(Math.max(0, variance)), 2);
        }
      }
    }
  });
});

describe('background noise', () => {
  it('is the deviation of noise laid over a slope, whatever lies outside the mask', () => {
    const [width, height] = [200, 150];
    const normal = seededNormal(11);
    const mask = new Uint8Array(width * height);
    const luma = Float32Array.from(mask, (_, i) => {
      const x = i % width;
      if (x < 20) return 255;
      mask[i] = 1;
      return 80 + 0.2 * x + 0.84 * normal();
    });
    const noise = backgroundNoise(luma, mask, width, height);
    // 30 000 samples: the robust deviation scatters by about 0.7 %; the local mean takes 1/625 of the variance.
    expect(noise).toBeGreaterThan(0.84 * 0.97);
    expect(noise).toBeLessThan(0.84 * 1.03);
    expect(backgroundNoise(luma, new Uint8Array(width * height), width, height)).toBeNaN();
  });
});

describe('depth and motion errors', () => {
  it('count a missing depth as off', () => {
    const truth = Float32Array.from([0, 1, 2, 3, 4]);
    const found = Float32Array.from([0.1, 1.3, 5, Number.NaN, 100]);
    const figures = depthErrors(found, truth, Uint8Array.from([1, 1, 1, 1, 0]));
    expect(figures.medianSteps).toBeCloseTo((0.3 + 3) / 2, 6);
    expect(figures.offPercent).toBe(50);
  });

  it('measure a transform that is off by (3, -4) px as 5 px, without the anchor and frames left out', () => {
    const place = (shiftXPx: number, shiftYPx: number) =>
      similarityMatrix({ scale: 1.01, rollRad: 0.001, shiftXPx, shiftYPx }, 160, 120);
    const truth = [place(0, 0), place(1, 2), place(2, -1), place(0, 5)];
    const found = [place(90, 0), place(1, 2), place(5, -5), undefined];
    const figures = motionErrors(found, truth, 0, 160, 120);
    expect(figures.worstPx).toBeCloseTo(5, 9);
    expect(figures.medianPx).toBeCloseTo(2.5, 9);
  });

  it('measure a scale of 1.001 as 0.001 of the corner distance from the centre', () => {
    const place = (scale: number) =>
      similarityMatrix({ scale, rollRad: 0, shiftXPx: 0, shiftYPx: 0 }, 161, 121);
    const figures = motionErrors([place(1), place(1.001)], [place(1), place(1)], 0, 161, 121);
    expect(figures.medianPx).toBeCloseTo(0.001 * Math.hypot(80, 60), 9);
  });
});

describe('statistics', () => {
  it('give the median and the deviation of a normal law', () => {
    expect(median([3, 1, 2])).toBe(2);
    expect(median([4, 1, 3, 2])).toBe(2.5);
    expect(median([])).toBeNaN();
    const normal = seededNormal(3);
    const values = Array.from({ length: 20_000 }, (_, i) => (i % 50 === 0 ? 1e6 : 10 + 2 * normal()));
    // 2 % of outliers on one side widen the robust deviation by about 3 %.
    expect(robustDeviation(values)).toBeGreaterThan(1.9);
    expect(robustDeviation(values)).toBeLessThan(2.2);
  });
});

describe('NumPy archives', () => {
  it('are read, stored or deflated, from the byte layout of the ZIP and NPY descriptions', () => {
    const values = Float32Array.from([1.5, -2, Number.POSITIVE_INFINITY, 0, 7, 1e-3]);
    const header = "{'descr': '<f4', 'fortran_order': False, 'shape': (2, 3), }";
    const padded = `${header.padEnd(117)}\n`;
    const head = Buffer.from([0x93, 0x4e, 0x55, 0x4d, 0x50, 0x59, 1, 0, padded.length, 0]);
    const npy = Buffer.concat([head, Buffer.from(padded, 'latin1'), Buffer.from(values.buffer)]);
    for (const method of [0, 8]) {
      const { arr } = readNpz(zipOf('arr.npy', npy, method));
      expect(arr.shape).toEqual([2, 3]);
      expect([...arr.data]).toEqual([...values]);
    }
    expect(() => readNpz(Buffer.from('no archive'))).toThrow(/Expected a ZIP archive/);
  });
});

function zipOf(name: string, content: Buffer, method: number): Buffer {
  const packed = method === 8 ? deflateRawSync(content) : content;
  const local = Buffer.alloc(30);
  local.write('PK\x03\x04', 0, 'latin1');
  local.writeUInt16LE(method, 8);
  local.writeUInt32LE(packed.length, 18);
  local.writeUInt32LE(content.length, 22);
  local.writeUInt16LE(name.length, 26);
  const central = Buffer.alloc(46);
  central.write('PK\x01\x02', 0, 'latin1');
  central.writeUInt16LE(method, 10);
  central.writeUInt32LE(packed.length, 20);
  central.writeUInt32LE(content.length, 24);
  central.writeUInt16LE(name.length, 28);
  const end = Buffer.alloc(22);
  end.write('PK\x05\x06', 0, 'latin1');
  end.writeUInt16LE(1, 8);
  end.writeUInt16LE(1, 10);
  end.writeUInt32LE(46 + name.length, 12);
  end.writeUInt32LE(30 + name.length + packed.length, 16);
  return Buffer.concat([local, Buffer.from(name), packed, central, Buffer.from(name), end]);
}

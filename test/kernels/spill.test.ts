import { beforeAll, describe, expect, it } from 'vitest';
import { spillReaches } from '../../src/blend/spill-reaches.js';
import { linearCurve, srgbCurve, type TransferCurve } from '../../src/image/transfer-curve.js';
import { identityMatrix } from '../../src/image/transform.js';
import { spiralPoints } from '../../src/surface/spiral.js';
import { KernelRig, noiseRgb, pictureOf } from './kernel-rig.js';

let rig: KernelRig;
beforeAll(async () => {
  rig = await KernelRig.start();
});

const [width, height] = [400, 192];
const half = { width: width / 2, height: height / 2 };
const [sure, samples, gapFrames] = [320, 96, 4];
/** Near on the left of the rim, far on the right; frames. */
const [near, far, rim] = [6, 26, 200];
const blurPx = 1.5;
const discPx = blurPx * (far - near);
/** Light, 0..255: squares of whole roots are kept exactly. */
const nearLight = [200, 90, 30].map((root) => root ** 2 / 255);

const fractionBits = 6;
const storedOf = (frame: number) => Math.round(64 * (frame + 4));

interface Drawn {
  frameAt: (x: number, y: number) => number;
  weightOf?: (x: number, y: number) => number;
  isLit: (x: number, y: number) => boolean;
}

/** Spill at pixels of level 0, and its addresses. */
function findSpill(sign: -1 | 1, { frameAt, weightOf = () => sure, isLit }: Drawn) {
  const gap = gapFrames * 64;
  const depthIndices = rig.storeCodes([pictureOf(width, height, (x, y) => storedOf(frameAt(x, y)))]);
  const weights = rig.storeCodes([pictureOf(width, height, weightOf)]);
  const lights = new Uint8Array(half.width * half.height * 4).map((_, i) => {
    const [x, y] = [2 * ((i >> 2) % half.width), 2 * Math.floor((i >> 2) / half.width)];
    return i % 4 < 3 && isLit(x, y) ? [200, 90, 30][i % 4] : 0;
  });
  const full = [depthIndices.pointer, weights.pointer, sure, depthIndices.stride, width, height];
  const grids: { pointer: number; width: number; height: number }[] = [];
  let fine: { width: number; height: number } = half;
  for (let i = 0; i < 5; i++) {
    const size = { width: (fine.width + 1) >> 1, height: (fine.height + 1) >> 1 };
    const pointer = rig.arena.take(size.width * size.height * 24);
    const out = [gap, sign, pointer, size.width, size.height];
    if (i === 0) {
      const from = [rig.placeSamples(lights), half.width, half.height];
      rig.run('spillCellsStrip', [...full, ...from, ...out], size.height);
    } else {
      rig.run('mergeSpillCellsStrip', [grids[i - 1].pointer, fine.width, fine.height, ...out], size.height);
    }
    grids.push({ pointer, ...size });
    fine = size;
  }
  const cells = rig.arena.u16(grids[0].pointer, grids[0].width * grids[0].height * 12);
  const limits = { gap, nearSign: sign, pxPerUnit: blurPx / 64, maxReachPx: 256 };
  const row = (y: number) => cells.subarray(y * grids[0].width * 12, (y + 1) * grids[0].width * 12);
  const { reaches, blocks } = spillReaches(row, grids[0], limits);
  const table = rig.arena.take(grids.length * 12);
  rig.arena
    .u32(table, grids.length * 3)
    .set(grids.flatMap((grid) => [grid.pointer, grid.width, grid.height]));
  const outPlaces = rig.arena.take(half.width * half.height * 2);
  const outSpill = rig.arena.take(half.width * half.height * 8);
  const points = rig.placeSamples(spiralPoints(samples, (part) => part));
  const optics = [blurPx, gap, sign, fractionBits, rig.placeSamples(reaches), blocks];
  const from = [
    depthIndices.pointer,
    weights.pointer,
    sure,
    depthIndices.stride,
    table,
    grids.length,
    points,
    samples,
  ];
  rig.run('spillStrip', [...from, ...optics, outPlaces, outSpill, half.width, half.height], half.height);
  const values = rig.arena.u16(outSpill, half.width * half.height * 4).slice();
  const at = (x: number, y: number) => 4 * ((y >> 1) * half.width + (x >> 1));
  return {
    outPlaces,
    outSpill,
    share: (x: number, y = height / 2) => values[at(x, y) + 3] / 65535,
    light: (x: number, y = height / 2) => [...values.subarray(at(x, y), at(x, y) + 3)].map((v) => v / 257),
    most: () => Math.max(...values.filter((_, i) => i % 4 === 3)),
  };
}

/** A straight rim; whichever way the stack was shot, the left is the nearer. */
function rimOf(sign: -1 | 1): Drawn {
  const [left, right] = sign === 1 ? [near, far] : [far, near];
  return { frameAt: (x) => (x < rim ? left : right), isLit: (x) => x < rim };
}

/** The part of a disc of radius 1 that lies beyond a line at this distance: area of a circular segment. */
function segment(distance: number): number {
  if (distance >= 1) return 0;
  return (Math.acos(distance) - distance * Math.sqrt(1 - distance ** 2)) / Math.PI;
}

describe.each([1, -1] as const)('the spill of a straight rim, near sign %i', (sign) => {
  it('covers the segment of the blur disc that lies over the near side, as though strewn over the disc', () => {
    const spill = findSpill(sign, rimOf(sign));
    for (const beyond of [4, 8, 14, 20, 26]) {
      const expected = 1 - Math.exp(-segment(beyond / discPx));
      expect(Math.abs(spill.share(rim + beyond) - expected)).toBeLessThan(0.05);
    }
    expect(spill.share(rim + 40)).toBe(0);
  });

  it('has the light of the near side, and leaves the near side alone', () => {
    const spill = findSpill(sign, rimOf(sign));
    const share = spill.share(rim + 8);
    spill.light(rim + 8).forEach((light, c) => {
      expect(Math.abs(light / share - nearLight[c])).toBeLessThan(0.2);
    });
    for (const before of [2, 10, 60]) expect(spill.share(rim - before)).toBe(0);
  });

  it('needs certain depths on both sides', () => {
    const unsure = (isUnsure: (x: number) => boolean) => (x: number) => (isUnsure(x) ? sure - 1 : sure);
    const rimmed = rimOf(sign);
    expect(findSpill(sign, { ...rimmed, weightOf: unsure((x) => x >= rim) }).share(rim + 8)).toBe(0);
    expect(findSpill(sign, { ...rimmed, weightOf: unsure((x) => x < rim) }).share(rim + 8)).toBe(0);
  });
});

it('a hair spills as much as its area in the disc, wherever it runs', () => {
  // A hair of 2 px along a slant, before a wall.
  const isHair = (x: number, y: number) => Math.abs(x - 200 - 0.3 * (y - 96)) < 1;
  const spill = findSpill(1, { frameAt: (x, y) => (isHair(x, y) ? near : far), isLit: isHair });
  const mean = (beyond: number) => {
    let sum = 0;
    for (let y = 60; y < 132; y += 2) sum += spill.share(2 * Math.round(100 + 0.15 * (y - 96)) + beyond, y);
    return sum / 36;
  };
  for (const beyond of [8, 16]) {
    const apart = beyond / Math.hypot(1, 0.3) / discPx;
    const area =
      (2 * (2 / Math.hypot(1, 0.3)) * discPx * Math.sqrt(1 - apart ** 2)) / (Math.PI * discPx ** 2);
    expect(mean(beyond) / area).toBeGreaterThan(0.8);
    expect(mean(beyond) / area).toBeLessThan(1.25);
  }
});

it('a slope that rises slower than its own blur spreads spills nothing', () => {
  // One frame in 3 px, where the blur grows by 1.5 px a frame.
  expect(findSpill(1, { frameAt: (x) => 4 + x / 3, isLit: () => true }).most()).toBe(0);
});

it('what was spilled upon is seen again, in light, in its own frames alone', () => {
  const [c1, c2, c3] = srgbCurve;
  const lightOf = (v: number) => v * (c1 + (v / 255) * (c2 + (v / 255) * c3));
  const sampleOf = (light: number) => {
    let [low, high] = [0, 255];
    for (let i = 0; i < 50; i++) {
      const middle = (low + high) / 2;
      if (lightOf(middle) < light) low = middle;
      else high = middle;
    }
    return low;
  };
  const spill = findSpill(1, rimOf(1));
  const hidden = [0, 1, 2].map((c) =>
    pictureOf(half.width, half.height, (x, y) => 60 + 40 * Math.sin(x / (2 + c)) * Math.cos(y / 3)),
  );
  const seen = hidden.map((plane, c) =>
    pictureOf(half.width, half.height, (x, y) => {
      const light = plane.data[y * half.width + x] * (1 - spill.share(2 * x, 2 * y));
      return sampleOf(light + spill.light(2 * x, 2 * y)[c]);
    }),
  );
  const worstAt = (ordinal: number) => {
    const planes = rig.store(seen);
    const frame = [planes.pointer, planes.stride, planes.planeBytes, half.width, half.height, ...srgbCurve];
    rig.run(
      'subtractSpillStrip',
      [...frame, spill.outPlaces, spill.outSpill, ordinal, fractionBits],
      half.height,
    );
    const differences = hidden.flatMap((plane, c) => {
      const cleared = rig.read(planes, c);
      return Array.from(plane.data, (value, i) =>
        i % half.width >= rim / 2 ? Math.abs(cleared.data[i] - value) : 0,
      );
    });
    return differences.reduce((worst, value) => Math.max(worst, value), 0);
  };
  expect(worstAt(far)).toBeLessThan(0.1);
  expect(worstAt(far + 1)).toBeLessThan(0.1);
  expect(worstAt(far - 2)).toBeGreaterThan(20);
});

it.each([
  [8, linearCurve],
  [16, srgbCurve],
] as const)('light is noted where the frame is the best, %i bits', (bits, curve: TransferCurve) => {
  const unit = bits === 8 ? 1 : 257;
  const pixels = noiseRgb(width, height, bits, 1).map((_, i) => [40, 120, 220][i % 3] * unit);
  const best = rig.storeCodes([pictureOf(half.width, half.height, (x) => (x < 50 ? 3 : 4))]);
  const out = rig.arena.take(half.width * half.height * 4);
  rig.arena.u8(out, half.width * half.height * 4).fill(7);
  const frame = [rig.placeSamples(pixels), bits, width, height, 0.5, 1, 1.1, ...curve];
  const grid = [...identityMatrix.slice(0, 6), best.pointer, best.stride, half.width, half.height, 3, out];
  rig.run('noteLightStrip', [...frame, ...grid], half.height);
  const noted = rig.arena.u8(out, half.width * half.height * 4);
  const [c1, c2, c3] = curve;
  const roots = [20, 120, 242].map((sample) => {
    const v = sample / 255;
    return Math.round(255 * Math.sqrt(v * (c1 + v * (c2 + v * c3))));
  });
  expect([...noted.subarray(0, 3)]).toEqual(roots);
  expect([...noted.subarray(4 * 60, 4 * 60 + 3)]).toEqual([7, 7, 7]);
});

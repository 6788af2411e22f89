import { beforeAll, describe, expect, it } from 'vitest';
import { identityMatrix } from '../../src/image/transform.js';
import { KernelRig, noiseRgb, pictureOf } from './kernel-rig.js';

let rig: KernelRig;
beforeAll(async () => {
  rig = await KernelRig.start();
});

const [width, height] = [400, 96];
const half = { width: width / 2, height: height / 2 };
const quarter = { width: width / 4, height: height / 4 };
const cap = 0.5;
const [sure, samples, gapFrames] = [320, 96, 4];
/** Near on the left of the rim, far on the right; frames. The rim lies half way between two of every fourth columns. */
const [near, far, rim] = [6, 26, 202];
const blurPx = 1.5;
const discPx = blurPx * (far - near);
const nearColour = [200, 90, 30] as const;

const fractionBits = 6;
const storedOf = (frame: number) => 64 * (frame + 4);

/** Points of a disc, evenly spread by the square root, put where the kernel wants them: evenly along the radius. */
function table(): number {
  const points = Array.from({ length: samples }, (_, i) => {
    const angle = i * Math.PI * (3 - Math.sqrt(5));
    return [Math.cos(angle), Math.sin(angle), (i + 0.5) / samples];
  });
  return rig.placeSamples(Float32Array.from(points.flat()));
}

/** Share and colour of the veil at pixels of level 1, and its places. */
function findVeil(sign: -1 | 1, weightOf: (x: number) => number = () => sure) {
  // Whichever way the stack was shot, the left is the nearer.
  const frameAt = (x: number) => (sign === 1 ? (x < rim ? near : far) : x < rim ? far : near);
  const places = rig.placeCodes([pictureOf(width, height, (x) => storedOf(frameAt(x)))]);
  const weights = rig.placeCodes([pictureOf(width, height, weightOf)]);
  const thin = Uint16Array.from({ length: quarter.width * quarter.height }, (_, i) => {
    const x = 4 * (i % quarter.width);
    return weightOf(x) >= sure ? storedOf(frameAt(x)) : 0;
  });
  const colours = new Uint8Array(thin.length * 4).map((_, i) =>
    i % 4 < 3 && 4 * ((i >> 2) % quarter.width) < rim ? nearColour[i % 4] : 0,
  );
  const outPlaces = rig.arena.take(half.width * half.height * 2);
  const outVeil = rig.arena.take(half.width * half.height * 4);
  const from = [places.pointer, weights.pointer, sure, places.stride, rig.placeSamples(thin)];
  const grid = [rig.placeSamples(colours), quarter.width, quarter.height, table(), samples];
  const optics = [blurPx, gapFrames, cap, 256, sign, Math.min(sign * storedOf(near), sign * storedOf(far))];
  optics.push(fractionBits);
  const out = [outPlaces, outVeil, half.width, half.height];
  rig.run('veilStrip', [...from, ...grid, ...optics, ...out], half.height);
  const bytes = rig.arena.u8(outVeil, half.width * half.height * 4);
  const middle = half.height / 2;
  return {
    outPlaces,
    outVeil,
    share: (x: number) => (bytes[4 * (middle * half.width + x / 2) + 3] * cap) / 255,
    colour: (x: number) => [...bytes.subarray(4 * (middle * half.width + x / 2)).subarray(0, 3)],
  };
}

/** The part of a disc of radius 1 that lies beyond a line at this distance: area of a circular segment. */
function segment(distance: number): number {
  if (distance >= 1) return 0;
  return (Math.acos(distance) - distance * Math.sqrt(1 - distance ** 2)) / Math.PI;
}

describe.each([1, -1] as const)('the veil of a straight rim, near sign %i', (sign) => {
  it('covers the segment of the blur disc that lies over the near side', () => {
    const veil = findVeil(sign);
    for (const beyond of [4, 8, 14, 20, 26]) {
      expect(Math.abs(veil.share(rim + beyond) - segment(beyond / discPx))).toBeLessThan(0.035);
    }
    expect(veil.share(rim + 40)).toBe(0);
  });

  it('has the colour of the near side, and leaves the near side alone', () => {
    const veil = findVeil(sign);
    expect(veil.colour(rim + 8)).toEqual([...nearColour]);
    for (const before of [2, 10, 60]) expect(veil.share(rim - before)).toBe(0);
  });

  it('needs sure places on both sides', () => {
    expect(findVeil(sign, (x) => (x < rim ? sure : sure - 1)).share(rim + 8)).toBe(0);
    expect(findVeil(sign, (x) => (x < rim ? sure - 1 : sure)).share(rim + 8)).toBe(0);
  });
});

it('a slope that rises slower than its own blur spreads veils nothing', () => {
  // One frame in 3 px, where the blur grows by 1.5 px a frame.
  const frameAt = (x: number) => 4 + x / 3;
  const places = rig.placeCodes([pictureOf(width, height, (x) => Math.round(storedOf(frameAt(x))))]);
  const weights = rig.placeCodes([pictureOf(width, height, () => sure)]);
  const thin = Uint16Array.from({ length: quarter.width * quarter.height }, (_, i) =>
    Math.round(storedOf(frameAt(4 * (i % quarter.width)))),
  );
  const out = rig.arena.take(half.width * half.height * 4);
  const ends = [rig.arena.take(half.width * half.height * 2), out, half.width, half.height];
  const from = [places.pointer, weights.pointer, sure, places.stride, rig.placeSamples(thin)];
  const grid = [rig.placeSamples(new Uint8Array(thin.length * 4)), quarter.width, quarter.height];
  const optics = [table(), samples, blurPx, gapFrames, cap, 256, 1, storedOf(4), fractionBits];
  rig.run('veilStrip', [...from, ...grid, ...optics, ...ends], half.height);
  expect(rig.arena.u32(out, half.width * half.height).every((veil) => veil === 0)).toBe(true);
});

it('what was veiled is seen again, in its own frames alone', () => {
  const veil = findVeil(1);
  const hidden = [0, 1, 2].map((c) =>
    pictureOf(half.width, half.height, (x, y) => 60 + 40 * Math.sin(x / (2 + c)) * Math.cos(y / 3)),
  );
  const shareAt = (x: number) => veil.share(2 * x);
  const seen = hidden.map((plane, c) =>
    pictureOf(half.width, half.height, (x, y) => {
      const i = y * half.width + x;
      return (1 - shareAt(x)) * plane.data[i] + shareAt(x) * nearColour[c];
    }),
  );
  const middle = half.height / 2;
  const worstAt = (ordinal: number) => {
    const planes = rig.place(seen);
    rig.run(
      'clearStrip',
      [
        planes.pointer,
        planes.stride,
        planes.planeBytes,
        half.width,
        half.height,
        veil.outPlaces,
        veil.outVeil,
        cap,
        ordinal,
        fractionBits,
      ],
      half.height,
    );
    return Math.max(
      ...[0, 1, 2].map((c) => {
        const cleared = rig.read(planes, c);
        let worst = 0;
        for (let x = rim / 2; x < half.width; x++) {
          const i = middle * half.width + x;
          worst = Math.max(worst, Math.abs(cleared.data[i] - hidden[c].data[i]));
        }
        return worst;
      }),
    );
  };
  expect(worstAt(far)).toBeLessThan(0.1);
  expect(worstAt(far + 1)).toBeLessThan(0.1);
  expect(worstAt(far - 2)).toBeGreaterThan(20);
});

it.each([8, 16] as const)('colours are noted where the frame is the best, %i bits', (bits) => {
  const count = width * height * 3;
  const unit = bits === 8 ? 1 : 257;
  const samplesOf = noiseRgb(width, height, bits, 1).map((_, i) => [40, 120, 220][i % 3] * unit);
  expect(samplesOf).toHaveLength(count);
  const best = rig.placeCodes([pictureOf(quarter.width, quarter.height, (x) => (x < 50 ? 3 : 4))]);
  const out = rig.arena.take(quarter.width * quarter.height * 4);
  rig.arena.u8(out, quarter.width * quarter.height * 4).fill(7);
  const frame = [rig.placeSamples(samplesOf), bits, width, height, 0.5, 1, 1.1];
  const place = [
    ...identityMatrix.slice(0, 6),
    best.pointer,
    best.stride,
    quarter.width,
    quarter.height,
    3,
    out,
  ];
  rig.run('noteColoursStrip', [...frame, ...place], quarter.height);
  const noted = rig.arena.u8(out, quarter.width * quarter.height * 4);
  expect([...noted.subarray(0, 3)]).toEqual([20, 120, 242]);
  expect([...noted.subarray(4 * 60, 4 * 60 + 3)]).toEqual([7, 7, 7]);
});

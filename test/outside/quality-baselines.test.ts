import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { applyMatrix, type Matrix3, similarityMatrix } from '../../src/image/transform.js';
import { type AlignedFrame, alignedFrames } from '../quality/baselines/aligned.js';
import { DepthWeighted } from '../quality/baselines/depth-weighted.js';
import { FocusArgmax } from '../quality/baselines/focus-argmax.js';
import { collapse, expand, laplacianPyramid, type Plane, reduce } from '../quality/baselines/pyramid.js';
import { PyramidSelection } from '../quality/baselines/pyramid-selection.js';
import type { Scene } from '../quality/scene.js';
import { formatTable, shortfalls } from '../quality/table.js';
import { seededRandom } from './seeded-random.js';

function plane(width: number, height: number, value: (x: number, y: number) => number): Plane {
  const data = Float32Array.from({ length: width * height }, (_, i) =>
    value(i % width, Math.floor(i / width)),
  );
  return { width, height, data };
}

function worstDifference(first: ArrayLike<number>, second: ArrayLike<number>): number {
  let worst = Math.abs(first.length - second.length);
  for (let i = 0; i < first.length; i++) worst = Math.max(worst, Math.abs(first[i] - second[i]));
  return worst;
}

const random = seededRandom(21);
const noise = (width: number, height: number) => plane(width, height, () => 255 * random());

describe('Burt & Adelson pyramid of the baselines', () => {
  const taps = [1, 4, 6, 4, 1].map((tap) => tap / 16);
  const mirrored = (index: number, size: number) => {
    const inside = Math.abs(index);
    return inside < size ? inside : 2 * (size - 1) - inside;
  };

  it.each([
    [16, 12],
    [17, 13],
    [5, 8],
  ])('reduces %i x %i as the sum over the 5x5 window says', (width, height) => {
    const full = noise(width, height);
    const expected = plane((width + 1) >> 1, (height + 1) >> 1, (x, y) => {
      let sum = 0;
      for (let j = -2; j <= 2; j++) {
        for (let i = -2; i <= 2; i++) {
          const at = mirrored(2 * y + j, height) * width + mirrored(2 * x + i, width);
          sum += taps[i + 2] * taps[j + 2] * full.data[at];
        }
      }
      return sum;
    });
    expect(worstDifference(reduce(full).data, expected.data)).toBeLessThan(1e-3);
  });

  it('expands as four times the sum over the samples that fall on the 5x5 window', () => {
    const half = noise(9, 7);
    const full = expand(half, 18, 14);
    for (let y = 2; y < 12; y++) {
      for (let x = 2; x < 16; x++) {
        let sum = 0;
        for (let j = -2; j <= 2; j++) {
          for (let i = -2; i <= 2; i++) {
            if ((x - i) % 2 !== 0 || (y - j) % 2 !== 0) continue;
            sum += 4 * taps[i + 2] * taps[j + 2] * half.data[((y - j) / 2) * 9 + (x - i) / 2];
          }
        }
        expect(full.data[y * 18 + x]).toBeCloseTo(sum, 3);
      }
    }
  });

  it('collapses to the plane it was made from, odd sizes too', () => {
    const full = noise(37, 22);
    expect(worstDifference(collapse(laplacianPyramid(full, 4)).data, full.data)).toBeLessThan(1e-3);
  });
});

/** A frame whose detail is `sharpness` times that of the subject, the same in three channels. */
function frameOf(
  index: number,
  width: number,
  height: number,
  sharpness: (x: number) => number,
): AlignedFrame {
  const grey = plane(
    width,
    height,
    (x, y) => 128 + 60 * sharpness(x) * Math.sin(x * 1.9) * Math.cos(y * 2.3),
  );
  return { index, red: grey, green: grey, blue: grey, grey };
}

describe('baselines on frames sharp in one half each', () => {
  const [width, height] = [128, 64];
  const frames = [
    frameOf(0, width, height, (x) => (x < 64 ? 1 : 0.1)),
    frameOf(1, width, height, (x) => (x < 64 ? 0.1 : 1)),
  ];
  const truth = frameOf(0, width, height, () => 1).grey;
  /** Mean absolute error away from the seam and the border, 0 to 255. */
  const error = (rgb: Uint16Array) => {
    let sum = 0;
    let count = 0;
    for (let y = 12; y < height - 12; y++) {
      for (let x = 12; x < width - 12; x++) {
        if (Math.abs(x - 64) < 16) continue;
        sum += Math.abs(rgb[3 * (y * width + x)] / 257 - truth.data[y * width + x]);
        count++;
      }
    }
    return sum / count;
  };

  it('pyramid selection takes each half from its frame', () => {
    const selection = new PyramidSelection();
    for (const frame of frames) selection.add(frame);
    expect(error(selection.finish().rgb)).toBeLessThan(1);
  });

  it('focus measure and depth-weighted blend do, too', () => {
    const focus = new FocusArgmax(width, height);
    for (const frame of frames) focus.add(frame.grey);
    const depth = focus.whole();
    expect([depth[32 * width + 20], depth[32 * width + 110]]).toEqual([0, 1]);
    const weighted = new DepthWeighted(depth, width, height);
    for (const frame of frames) weighted.add(frame);
    // The other frame, one step away, weighs exp(-1 / (2 0.7²)) = 0.36 of the nearest: 0.26 of 0.9 of the detail.
    const found = error(weighted.finish().rgb);
    const full = truth.data.reduce((sum, value) => sum + Math.abs(value - 128), 0) / truth.data.length;
    expect(found / full).toBeGreaterThan(0.18);
    expect(found / full).toBeLessThan(0.29);
  });

  it('the Gaussian peak returns the mean of a Gaussian focus curve', () => {
    const focus = new FocusArgmax(32, 32);
    // Nayar & Nakagawa's model: the measure over frames is Gaussian, here mean 3.37 and sigma 1.2.
    for (let k = 0; k < 7; k++)
      focus.add(frameOf(k, 32, 32, () => Math.exp(-((k - 3.37) ** 2) / (2 * 1.2 ** 2))).grey);
    expect(focus.whole()[16 * 32 + 16]).toBe(3);
    expect(focus.interpolated()[16 * 32 + 16]).toBeCloseTo(3.37, 3);
  });
});

describe('frames aligned for the baselines', () => {
  const [width, height] = [120, 90];
  const scenery = (x: number, y: number) => 128 + 50 * Math.sin(x / 9) + 40 * Math.cos(y / 7 + x / 31);
  const motion: Matrix3 = similarityMatrix(
    { scale: 1.02, rollRad: 0.004, shiftXPx: 2.3, shiftYPx: -1.6 },
    width,
    height,
  );
  const still = similarityMatrix({ scale: 1, rollRad: 0, shiftXPx: 0, shiftYPx: 0 }, width, height);
  let dir = '';

  beforeAll(async () => {
    dir = await mkdtemp(join(tmpdir(), 'lamella-aligned-'));
    const write = async (name: string, toAnchor: Matrix3, gain: number) => {
      const bytes = new Uint8Array(width * height * 3);
      for (let i = 0; i < width * height; i++) {
        const [x, y] = applyMatrix(toAnchor, i % width, Math.floor(i / width));
        bytes.fill(Math.round(gain * scenery(x, y)), 3 * i, 3 * i + 3);
      }
      await sharp(bytes, { raw: { width, height, channels: 3 } })
        .png()
        .toFile(join(dir, name));
    };
    await write('1.png', still, 1);
    await write('2.png', motion, 0.9);
  });
  afterAll(() => rm(dir, { recursive: true }));

  it('show the same scenery as the anchor in place and light', async () => {
    const scene = {
      record: { width, height, anchor: 1 },
      framePaths: [join(dir, '1.png'), join(dir, '2.png')],
    } as Scene;
    const frames: AlignedFrame[] = [];
    for await (const frame of alignedFrames(scene, [still, motion])) frames.push(frame);
    let worst = 0;
    for (let y = 6; y < height - 6; y++) {
      for (let x = 6; x < width - 6; x++) {
        worst = Math.max(worst, Math.abs(frames[1].green.data[y * width + x] - scenery(x, y)));
      }
    }
    // Rounding to whole levels at 0.9 of the light, cubic interpolation, and the gain.
    expect(worst).toBeLessThan(1.5);
  });
});

describe('table of figures', () => {
  const baselines = [
    { name: 'first', figures: { psnrDb: 34, errorNear: 5, halo: -0.4 } },
    { name: 'second', figures: { psnrDb: 35, errorNear: 6, halo: 0.2 } },
  ];

  it('names the columns in which a row is worse than the better baseline', () => {
    const judged = { name: 'auto', figures: { psnrDb: 35.001, errorNear: 5.2, halo: -0.1 } };
    expect(shortfalls(judged, baselines)).toEqual([
      { column: '<=6px', value: '5.20', baseline: '5.00', baselineName: 'first' },
    ]);
    const lacking = { name: 'auto', figures: { psnrDb: 34.9, errorNear: 1, halo: undefined } };
    expect(shortfalls(lacking, baselines).map(({ column }) => column)).toEqual(['PSNR dB', 'halo']);
  });

  it('prints aligned lines and - for what was not measured', () => {
    const lines = formatTable([...baselines, { name: 'bare', role: 'floor', figures: {} }]).split('\n');
    expect(new Set(lines.map((line) => line.length)).size).toBe(1);
    expect(lines[1]).toMatch(/^first +34\.00 +- +5\.00 .*-0\.40/);
    expect(lines[3]).toMatch(/^bare \(floor\)( +-)+$/);
  });
});

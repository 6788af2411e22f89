import { describe, expect, it } from 'vitest';
import type { Matrix3 } from '../../src/image/transform.js';
import { isMetric, type ResultScale, resultScale, spacePoint } from '../../src/relief/scale.js';
import type { RunRecord } from '../../src/result/run-record.js';
import { sampleFrame, sampleRecord } from '../result/sample-record.js';

/** A pinhole camera on a rail, mm: the truth that the record is made from. */
const camera = {
  pitch: 0.004,
  image: 60,
  focus: 40,
  stepMm: 0.5,
  frames: 11,
  anchor: 6,
  width: 400,
  height: 300,
};

/** Side of a frame pixel at the plane of focus. */
const sideMm = (camera.pitch * camera.focus) / camera.image;

/** Where the camera at rail travel 0 sees a point, px; z from its plane of focus. */
function project([x, y, z]: readonly [number, number, number]): [number, number] {
  const perMm = camera.image / (camera.focus + z) / camera.pitch;
  return [(camera.width - 1) / 2 + x * perMm, (camera.height - 1) / 2 + y * perMm];
}

function railRecord(over: Partial<RunRecord> = {}, jitter: (number: number) => number = () => 1): RunRecord {
  const size = { width: camera.width, height: camera.height };
  const frames = Array.from({ length: camera.frames }, (_, i) => {
    const depth = (i + 1 - camera.anchor) * camera.stepMm;
    // What is sharp in the frame is `sideMm` a pixel there; the anchor sees the same plane smaller where it is far.
    const scale = (camera.focus / (camera.focus + depth)) * jitter(i + 1);
    const shift = (length: number) => ((length - 1) / 2) * (1 - scale);
    const transform: Matrix3 = [scale, 0, shift(size.width), 0, scale, shift(size.height), 0, 0, 1];
    return sampleFrame(i + 1, { depth, transform });
  });
  const base = sampleRecord();
  return {
    ...base,
    size,
    frameSize: size,
    crop: { x: 0, y: 0, ...size },
    anchorNumber: camera.anchor,
    frames,
    maps: { ...base.maps, depth: { ...base.maps.depth, unit: 'mm', min: -2.5, max: 2.5 } },
    mmPerPixel: sideMm,
    stepMm: camera.stepMm,
    ...over,
  };
}

function lengthsOf(scale: ResultScale): { perPixel: number; perDepth: number } {
  if (!isMetric(scale)) throw new Error('no scale');
  return { perPixel: scale.mmPerPixel, perDepth: scale.mmPerDepth };
}

describe('points of a subject on a rail', () => {
  const points = [
    [0.4, -0.3, -2.4],
    [-0.5, 0.35, 2.3],
    [0.1, 0.2, 0],
  ] as const;

  it.each(points)('come out of pixel and depth as they went in: %f, %f, %f mm', (...point) => {
    const scale = resultScale(railRecord());
    const found = spacePoint(scale, lengthsOf(scale), ...project(point), point[2]);
    for (const axis of [0, 1, 2]) expect(found[axis]).toBeCloseTo(point[axis], 6);
  });

  it('keep their places when the picture is cropped', () => {
    const whole = railRecord();
    const crop = { x: 31, y: 17, width: 300, height: 200 };
    const scale = resultScale({ ...whole, crop, size: { width: 300, height: 200 } });
    const [x, y] = project(points[0]);
    const found = spacePoint(scale, lengthsOf(scale), x - crop.x, y - crop.y, points[0][2]);
    for (const axis of [0, 1, 2]) expect(found[axis]).toBeCloseTo(points[0][axis], 6);
  });

  it('are right within the stated error when scales scatter, one of them grossly', () => {
    const noise = [3, -5, 4, 1, -2, 0, 2, -4, 5, -1, 300];
    const scale = resultScale(railRecord({}, (number) => 1 + noise[number - 1] * 1e-5));
    expect(Math.abs(scale.growth - 1 / camera.focus)).toBeLessThan(3 * scale.growthSigma);
    expect(scale.growthSigma).toBeLessThan(0.02 / camera.focus);
  });
});

describe('a scale that is not known', () => {
  it('is said to be in pixels and steps, and nothing is in mm', () => {
    const scale = resultScale({
      ...railRecord(),
      mmPerPixel: undefined,
      stepMm: undefined,
      maps: sampleRecord().maps,
    });
    expect(isMetric(scale)).toBe(false);
    expect(scale).toMatchObject({ mmPerPixel: undefined, mmPerDepth: undefined });
    expect(scale.notes.join(' ')).toMatch(/lengths across are in pixels.*depth is in steps/);
  });

  it('comes from options given beside the result', () => {
    const record = { ...railRecord(), mmPerPixel: undefined, maps: sampleRecord().maps };
    expect(resultScale(record, { stepMm: 0.02, magnification: 4, pixelPitchUm: 6 })).toMatchObject({
      mmPerPixel: 0.0015,
      mmPerDepth: 0.02,
      notes: [],
    });
    expect(resultScale(record, { fieldWidthMm: 8 }).mmPerPixel).toBe(8 / camera.width);
    expect(() => resultScale(record, { magnification: 4 })).toThrow(
      'Expected pixelPitchUm beside magnification',
    );
    expect(() => resultScale(record, { magnification: 4, fieldWidthMm: 8 })).toThrow('keep one of them');
  });

  it('is corrected by a step in the place of the merge, but not where positions gave the depth', () => {
    expect(resultScale(railRecord(), { stepMm: 0.25 }).mmPerDepth).toBe(0.5);
    expect(() => resultScale(railRecord({ stepMm: undefined }), { stepMm: 0.25 })).toThrow(
      'comes from the positions of its frames',
    );
  });
});

describe('perspective is left alone, and that is said', () => {
  it('where the near end is not known', () => {
    const scale = resultScale(railRecord({ direction: 'unknown' }));
    expect(scale.growth).toBe(0);
    expect(scale.notes.join(' ')).toMatch(/near and far are swapped.*perspective is not taken out/);
  });

  it('where far things appear larger, as with a lens that is focused', () => {
    const focused = railRecord({}, (number) => (1 + (number - camera.anchor) * 0.0125) ** 3);
    const scale = resultScale(focused);
    expect(scale.growth).toBe(0);
    expect(scale.notes.join(' ')).toContain('as when the lens is focused');
  });

  it('where frames were not scaled at all, without a word', () => {
    const still = railRecord();
    const frames = still.frames.map((frame) => ({ ...frame, transform: sampleFrame(1).transform }));
    expect(resultScale({ ...still, frames })).toMatchObject({ growth: 0, notes: [] });
  });
});

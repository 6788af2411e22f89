import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { validateBytes } from 'gltf-validator';
import { describe, expect, it } from 'vitest';
import { InputError, OutputError } from '../../src/errors.js';
import { editMends } from '../../src/mend/apply-mends.js';
import { makeRelief } from '../../src/relief/relief.js';
import { writeFileAside } from '../../src/result/output-file.js';
import { makeResult, squareMend } from '../mend/made-result.js';
import { temporaryFolder } from '../result/temporary-folder.js';
import { type MadeScene, writeMadeResult } from './made-result.js';
import { edgeUses, readByAssimp, readByThree, volumeOf } from './read-mesh.js';

/** A block before a ground, with a hair of two pixels across both. */
const [blockDepth, hairDepth, groundDepth] = [-0.3, -0.8, 0.5];
const scene: MadeScene = {
  width: 100,
  height: 80,
  pixelMm: 0.02,
  stepMm: 0.05,
  depthMm(x, y) {
    if (Math.abs(y - 0.2) < 0.02) return hairDepth;
    return Math.abs(x) < 0.4 && Math.abs(y) < 0.4 ? blockDepth : groundDepth;
  },
};

async function reliefOf(made: MadeScene, name: string, options: Parameters<typeof makeRelief>[1] = {}) {
  const folder = temporaryFolder();
  await writeMadeResult(folder, made);
  const out = join(temporaryFolder(), name);
  const report = await makeRelief(folder, { out, ...options });
  return { folder, out, report };
}

describe('a surface with depth edges', () => {
  it('is cut at them: no triangle reaches from one depth to another', async () => {
    const { out } = await reliefOf(scene, 'relief.ply');
    const { points, triangles } = readByThree(out);
    const depths = new Map([hairDepth, blockDepth, groundDepth].map((depth) => [-depth, 0]));
    for (let t = 0; t < triangles.length; t += 3) {
      const [a, b, c] = [0, 1, 2].map((k) => points[3 * triangles[t + k] + 2]);
      expect(Math.max(a, b, c) - Math.min(a, b, c)).toBeLessThan(1e-6);
      const depth = [...depths.keys()].find((value) => Math.abs(value - a) < 1e-6)!;
      depths.set(depth, depths.get(depth)! + 1);
    }
    for (const count of depths.values()) expect(count).toBeGreaterThan(0);
  });

  it('has hairs as ribbons of their own, as wide as they are, and leaves nothing uncovered', async () => {
    const { out } = await reliefOf(scene, 'relief.ply');
    const { points, triangles } = readByThree(out);
    let hair = 0;
    let all = 0;
    for (let t = 0; t < triangles.length; t += 3) {
      const [a, b, c] = [0, 1, 2].map((k) => points.subarray(3 * triangles[t + k], 3 * triangles[t + k] + 3));
      const area = ((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])) / 2;
      // Towards the camera.
      expect(area).toBeGreaterThan(0);
      all += area;
      if (Math.abs(a[2] + hairDepth) < 1e-6) hair += area;
    }
    expect(hair).toBeCloseTo(2 * 0.02 * 100 * 0.02, 6);
    expect(all).toBeCloseTo(100 * 80 * 0.02 ** 2, 6);
  });

  it('keeps to its number of triangles and reports the error that is left', async () => {
    const bumps: MadeScene = {
      ...scene,
      width: 200,
      height: 150,
      depthMm: (x, y) => 0.05 * Math.sin(9 * x) * Math.cos(7 * y),
    };
    const errors: number[] = [];
    for (const triangles of [1000, 4000, 16_000]) {
      const { out, report } = await reliefOf(bumps, 'relief.ply', { triangles });
      expect(report.triangles).toBeLessThanOrEqual(triangles);
      expect(report.triangles).toBeGreaterThan(0.5 * triangles);
      expect(readByThree(out).triangles.length / 3).toBe(report.triangles);
      expect(report.maxError).toBeGreaterThan(report.rmsError);
      errors.push(report.maxError);
    }
    expect(errors[0]).toBeGreaterThan(2 * errors[1]);
    expect(errors[1]).toBeGreaterThan(2 * errors[2]);
    expect(errors[0]).toBeLessThan(0.05);
  });
});

describe('files for other programs', () => {
  const formats = ['ply', 'obj', 'stl'] as const;
  it.each(formats)('a .%s is the same to two readers of other makers', async (format) => {
    const { out, report } = await reliefOf(scene, `relief.${format}`);
    const three = readByThree(out);
    const assimp = await readByAssimp(out);
    expect(three.triangles.length / 3).toBe(report.triangles);
    expect(assimp.triangles.length / 3).toBe(report.triangles);
    const box = ({ points }: { points: Float32Array }) =>
      [0, 1, 2].map((k) => {
        const values = points.filter((_, i) => i % 3 === k);
        return (
          values.reduce((most, value) => Math.max(most, value)) -
          values.reduce((least, value) => Math.min(least, value))
        );
      });
    for (const [k, side] of report.size.entries()) {
      expect(box(three)[k]).toBeCloseTo(side, 5);
      expect(box(assimp)[k]).toBeCloseTo(side, 5);
    }
    expect(report.size[0]).toBeCloseTo(100 * 0.02, 5);
  });

  it('a .ply has colour and confidence', async () => {
    const plain: MadeScene = { ...scene, colour: () => [250, 100, 20], confidence: 102 };
    const { out } = await reliefOf(plain, 'relief.ply');
    const bytes = readFileSync(out);
    const start = bytes.indexOf('end_header\n') + 'end_header\n'.length;
    expect(bytes.subarray(start + 12, start + 15)).toEqual(Buffer.from([250, 100, 20]));
    expect(bytes.readFloatLE(start + 15)).toBeCloseTo(0.4, 6);
  });

  it.each(['leave-out', 'flat'] as const)(
    'a .stl with the ground %s is closed: every edge has two triangles, and the volume is right',
    async (ground) => {
      const side = 0.8;
      const pillar: MadeScene = {
        ...scene,
        depthMm: (x, y) => (Math.abs(x) < side / 2 && Math.abs(y) < side / 2 ? blockDepth : 0.1),
        coverage: (x) => (x < 8 ? 'no-detail' : 'covered'),
      };
      const { out, report } = await reliefOf(pillar, 'relief.stl', { ground });
      const mesh = readByThree(out);
      for (const use of edgeUses(mesh)) expect(use).toEqual({ forth: 1, back: 1 });
      // Base of 5 % of the width below the ground, and the block upon it, whose walls lean by a pixel outward.
      const [width, height, pixel] = [100 * 0.02, 80 * 0.02, 0.02];
      const top = 0.1 - blockDepth;
      const wall = (top * ((side + 2 * pixel) ** 2 + side ** 2 + (side + pixel) ** 2 * 4)) / 6;
      const volume = width * height * 0.05 * width + wall;
      expect(volumeOf(mesh)).toBeGreaterThan(0.99 * volume);
      expect(volumeOf(mesh)).toBeLessThan(1.01 * volume);
      expect(report.size[2]).toBeCloseTo(top + 0.05 * width, 5);
    },
  );

  it('a .stl stays closed before a wide angle, over jagged depth and within its triangles', async () => {
    const jagged: MadeScene = {
      ...scene,
      distanceMm: 3,
      depthMm: (x, y) => (Math.sin(40 * x) + Math.cos(55 * y) > 0.7 ? -0.7 : 0.4),
    };
    const { out, report } = await reliefOf(jagged, 'relief.stl', { triangles: 12_000 });
    expect(report.triangles).toBeLessThanOrEqual(12_000);
    const mesh = readByThree(out);
    for (const use of edgeUses(mesh)) expect(use).toEqual({ forth: 1, back: 1 });
    expect(volumeOf(mesh)).toBeGreaterThan(0);
  });

  it('a .stl leaves out hairs, which would be walls too thin to print, and keeps what is wide enough', async () => {
    const across = { pixelMm: 0.004, width: 500, height: 100 };
    const ridge = (halfMm: number): MadeScene => ({
      ...scene,
      ...across,
      depthMm: (_x, y) => (Math.abs(y) < halfMm ? hairDepth : groundDepth),
    });
    const thin = await reliefOf(ridge(0.004), 'relief.stl');
    expect(thin.report.notes.join()).toContain('narrower than 0.012 mm are left out of the solid');
    // No more than the base, 5 % as thick as it is wide.
    expect(thin.report.size[2]).toBeCloseTo(0.05 * 500 * 0.004, 5);
    // An island of 10 px: a pin.
    const pin = {
      ...ridge(0),
      depthMm: (x: number, y: number) => (Math.hypot(x, y) < 0.02 ? hairDepth : groundDepth),
    };
    expect((await reliefOf(pin, 'relief.stl')).report.size[2]).toBeCloseTo(thin.report.size[2], 5);
    const wide = await reliefOf(ridge(0.012), 'relief.stl');
    expect(wide.report.notes.join()).not.toContain('left out');
    expect(wide.report.size[2]).toBeCloseTo(groundDepth - hairDepth + 0.05 * 500 * 0.004, 5);
  });

  it.each([1000, 2100])(
    'a .stl has no more than %i triangles, walls and base included',
    async (triangles) => {
      const waves = { ...scene, width: 400, depthMm: (x: number, y: number) => 0.1 * Math.sin(20 * x * y) };
      expect((await reliefOf(waves, 'relief.stl', { triangles })).report.triangles).toBeLessThanOrEqual(
        triangles,
      );
    },
  );

  it('a .glb has no fault for the validator of Khronos, and is in metres, with the picture, seen from both sides', async () => {
    const { out, report } = await reliefOf(scene, 'relief.glb');
    const bytes = new Uint8Array(readFileSync(out));
    const validated = await validateBytes(bytes);
    expect(validated.issues).toMatchObject({ numErrors: 0, numWarnings: 0 });
    expect(validated.info).toMatchObject({ totalTriangleCount: report.triangles, materialCount: 1 });
    expect(validated.info.resources).toEqual(
      expect.arrayContaining([
        expect.objectContaining({
          mimeType: 'image/jpeg',
          image: expect.objectContaining({ width: 100, height: 80 }),
        }),
      ]),
    );
    const json = JSON.parse(
      Buffer.from(bytes)
        .subarray(20, 20 + Buffer.from(bytes).readUInt32LE(12))
        .toString(),
    );
    const { min, max } = json.accessors[0];
    expect(max[0] - min[0]).toBeCloseTo(0.002, 8);
    expect(json.materials[0].doubleSided).toBe(true);
    const assimp = await readByAssimp(out);
    expect(assimp.triangles.length / 3).toBe(report.triangles);
  });
});

describe('what is not known', () => {
  it('without a scale is said to be in pixels and steps, in report and file, and nothing is in mm', async () => {
    const unknown: MadeScene = { ...scene, record: { mmPerPixel: undefined } };
    const { out, report } = await reliefOf(unknown, 'relief.glb');
    expect(report.unit).toBe('px');
    expect(report.size[0]).toBeCloseTo(100, 5);
    expect(report.notes.join(' ')).toContain('lengths across are in pixels');
    const validated = await validateBytes(new Uint8Array(readFileSync(out)));
    expect(validated.issues).toMatchObject({ numErrors: 0, numWarnings: 0 });
    expect(readFileSync(out).toString('latin1')).toContain('pixels of the picture, depth drawn to no scale');
  });

  it('no depth, no detail and out of reach are left out, or laid flat where asked', async () => {
    const holes: MadeScene = {
      ...scene,
      depthMm: (x) => (x < -0.6 ? Number.NaN : 0),
      coverage: (x) => (x < 20 ? 'covered' : x < 40 ? 'no-detail' : x < 50 ? 'out-of-reach' : 'covered'),
    };
    const left = await reliefOf(holes, 'relief.ply');
    expect(left.report.groundPercent).toBeCloseTo(50, 5);
    expect(left.report.size[0]).toBeCloseTo(50 * 0.02, 5);
    const laid = await reliefOf(holes, 'relief.ply', { ground: 'flat' });
    expect(laid.report.size[0]).toBeCloseTo(100 * 0.02, 5);
  });

  it('no confidence anywhere is refused in words', async () => {
    const making = reliefOf({ ...scene, confidence: 0 }, 'relief.ply');
    await expect(making).rejects.toThrow(InputError);
    await expect(making).rejects.toThrow(/No pixel of .* has a depth with any confidence/);
  });

  it('nothing that is left is refused in words: specks alone, and for a solid hairs alone', async () => {
    const specks = {
      ...scene,
      depthMm: (x: number, y: number) => (Math.hypot(x, y) < 0.05 ? 0.1 : Number.NaN),
    };
    await expect(reliefOf(specks, 'relief.ply')).rejects.toThrow(
      /^Nothing that has a depth in .* is more than a speck/,
    );
    const hair = {
      ...scene,
      width: 500,
      depthMm: (_x: number, y: number) => (Math.abs(y) < 0.02 ? 0.1 : Number.NaN),
    };
    await expect(reliefOf(hair, 'relief.stl')).rejects.toThrow(/is wide enough for a solid\. Choose a \.glb/);
    expect((await reliefOf(hair, 'relief.ply')).report.triangles).toBeGreaterThan(0);
  });

  it('a result of a newer program is refused', async () => {
    const newer = { ...scene, record: { version: 2 as never } };
    await expect(reliefOf(newer, 'relief.ply')).rejects.toThrow(/has version 2 but this program reads/);
  });
});

it('follows a mend: the region has the depth of the frame that was chosen, and its own before', async () => {
  const { folder, parent } = await makeResult();
  const scale = { fieldWidthMm: 2.2, stepMm: 0.1 };
  /** Median height of the relief inside of the region, mm. */
  const heightOf = async (name: string) => {
    const out = join(parent, name);
    await makeRelief(folder, { out, ...scale });
    const { points } = readByThree(out);
    const heights: number[] = [];
    for (let i = 0; i < points.length; i += 3) {
      // 40 pixels of 0.01 mm from 80,60, counted from the middle of 220 x 170 pixels.
      const [x, y, z] = points.subarray(i, i + 3);
      if (x > -0.3 && x < 0.1 && y > -0.15 && y < 0.25) heights.push(z);
    }
    return heights.sort((one, other) => one - other)[heights.length >> 1];
  };
  // The plane of frame 3 lies a step behind the anchor's.
  expect(Math.abs((await heightOf('before.ply')) + 0.1)).toBeGreaterThan(0.02);
  await editMends(folder, async () => [squareMend]);
  expect(await heightOf('after.ply')).toBeCloseTo(-0.1, 5);
});

describe('the file', () => {
  it('lies beside the result without a name, is not replaced unless asked, and nothing else is', async () => {
    const folder = join(temporaryFolder(), 'bee-merged');
    mkdirSync(folder);
    await writeMadeResult(folder, scene);
    const { out } = await makeRelief(folder);
    expect(out).toBe(`${folder}-relief.glb`);
    await expect(makeRelief(folder)).rejects.toThrow(/exists already/);
    await makeRelief(folder, { overwrite: true });
    writeFileSync(out, 'glTF of another program');
    await expect(makeRelief(folder, { overwrite: true })).rejects.toThrow(/is no relief as .glb of Lamella/);
    await expect(makeRelief(folder, { out: join(folder, 'relief.ply') })).rejects.toThrow(OutputError);
    expect(readdirSync(join(folder, '..')).sort()).toEqual(['bee-merged', 'bee-merged-relief.glb']);
  });

  it('that the disk has no room for is named, and nothing of it stays', async () => {
    const path = join(temporaryFolder(), 'relief.ply');
    const failing = writeFileAside(
      path,
      async (file) => {
        await file.append(Buffer.alloc(100));
        throw Object.assign(new Error('write'), { code: 'ENOSPC' });
      },
      { option: 'out' },
    );
    await expect(failing).rejects.toThrow(`Cannot write ${path}: the disk is full`);
    expect(readdirSync(join(path, '..'))).toEqual([]);
  });
});

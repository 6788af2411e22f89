import { createHash } from 'node:crypto';
import { mkdtemp, readdir, readFile, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import ExifReader from 'exifreader';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { renderScene, type SceneName, type SceneRecord } from '../../samples/render-scene.js';
import { UsageError } from '../../src/errors.js';

let folder: string;
beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'lamella-samples-'));
});
afterAll(() => rm(folder, { recursive: true, force: true }));

const tiny = { width: 96, height: 72, frames: 4 };

async function hashFolder(path: string): Promise<string> {
  const hash = createHash('sha256');
  const names = (await readdir(path, { recursive: true, withFileTypes: true }))
    .filter((entry) => entry.isFile())
    .map((entry) => join(entry.parentPath, entry.name))
    .sort();
  for (const name of names) hash.update(name.slice(path.length)).update(await readFile(name));
  return hash.digest('hex');
}

async function readBytes(path: string): Promise<Buffer> {
  return sharp(path).raw().toBuffer();
}

describe('renderScene', () => {
  const scenes: SceneName[] = ['seed-head', 'insect-head', 'tilted-plane'];
  it.each(scenes)('renders %s the same for the same seed and otherwise for another', async (scene) => {
    const [first, second, third] = ['a', 'b', 'c'].map((name) => join(folder, `${scene}-${name}`));
    await renderScene({ scene, out: first, ...tiny, seed: 4 });
    await renderScene({ scene, out: second, ...tiny, seed: 4 });
    await renderScene({ scene, out: third, ...tiny, seed: 5 });
    expect(await hashFolder(second)).toBe(await hashFolder(first));
    expect(await hashFolder(third)).not.toBe(await hashFolder(first));
  });

  it('records what the frames are', async () => {
    const out = join(folder, 'record');
    const record = await renderScene({
      scene: 'tilted-plane',
      out,
      width: 96,
      height: 72,
      frames: 7,
      irregularPercent: 20,
      blurredFrames: 1,
      order: 'far-to-near',
    });
    expect(JSON.parse(await readFile(join(out, 'truth', 'scene.json'), 'utf8')) as SceneRecord).toEqual(
      record,
    );
    expect(record.anchor).toBe(4);
    expect(record.positionsMm[3]).toBe(0);
    expect(record.gains[3]).toEqual([1, 1, 1]);
    const travels = record.positionsMm.slice(1).map((mm, k) => (mm - record.positionsMm[k]) / record.stepMm);
    for (const travel of travels) {
      expect(travel).toBeLessThan(-0.8);
      expect(travel).toBeGreaterThan(-1.2);
    }
    expect(Math.max(...travels) - Math.min(...travels)).toBeGreaterThan(0.02);
    expect(record.blurredFrames).toHaveLength(1);
    expect(record.blurredFrames).not.toContain(4);
    expect(record.transforms[3].map((value) => Math.round(value * 1e9) / 1e9 + 0)).toEqual([
      1, 0, 0, 0, 1, 0, 0, 0, 1,
    ]);
    expect((await readFile(join(out, 'truth', 'depth.f32'))).byteLength).toBe(4 * 96 * 72);
    const frames = await readdir(join(out, 'frames'));
    expect(frames.sort()).toEqual(Array.from({ length: 7 }, (_, k) => `000${k + 1}.jpg`));
  });

  it('writes capture times with sub-seconds and the exposure into the frames', async () => {
    const out = join(folder, 'exif');
    await renderScene({ scene: 'tilted-plane', out, ...tiny });
    const times: string[] = [];
    for (let k = 1; k <= 4; k++) {
      const tags = ExifReader.load(await readFile(join(out, 'frames', `000${k}.jpg`)));
      times.push(`${tags.DateTimeOriginal?.description} ${tags.SubSecTimeOriginal?.description}`);
      expect(tags.FNumber?.description).toContain('5.6');
      expect(tags.FocalLength?.description).toContain('50');
    }
    expect(new Set(times).size).toBe(4);
    expect([...times].sort()).toEqual(times);
  });

  it('writes 16-bit frames without an 8-bit step', async () => {
    const out = join(folder, 'wide');
    await renderScene({ scene: 'tilted-plane', out, ...tiny, frames: 1, bits: 16, format: 'tif' });
    const raw = await sharp(join(out, 'frames', '0001.tif'))
      .toColourspace('rgb16')
      .raw({ depth: 'ushort' })
      .toBuffer();
    const values = new Uint16Array(raw.buffer, raw.byteOffset, raw.length / 2);
    expect(new Set(values).size).toBeGreaterThan(1000);
  });

  it('shows the truth where a frame is in focus, to within its noise', async () => {
    const out = join(folder, 'focus');
    const { stepMm } = await renderScene({
      scene: 'tilted-plane',
      out,
      width: 400,
      height: 300,
      frames: 5,
      noise: 1,
      format: 'png',
    });
    expect(stepMm).toBeGreaterThan(0);
    const frame = await readBytes(join(out, 'frames', '0003.png'));
    const truth = await readBytes(join(out, 'truth', 'composite.png'));
    const depthBytes = await readFile(join(out, 'truth', 'depth.f32'));
    const depth = new Float32Array(
      depthBytes.buffer.slice(depthBytes.byteOffset, depthBytes.byteOffset + 480000),
    );
    const deviation = (near: number, far: number): number => {
      let sum = 0;
      let count = 0;
      for (let i = 0; i < depth.length; i++) {
        if (Math.abs(depth[i]) < near || Math.abs(depth[i]) >= far) continue;
        sum += (frame[3 * i + 1] - truth[3 * i + 1]) ** 2;
        count++;
      }
      return Math.sqrt(sum / count);
    };
    expect(deviation(0, 0.1)).toBeLessThan(1.4);
    expect(deviation(1.5, 2)).toBeGreaterThan(4);
  });

  it('adds noise of the strength asked for and keeps hot pixels in their place', async () => {
    const quiet = join(folder, 'quiet');
    const noisy = join(folder, 'noisy');
    const common = {
      scene: 'seed-head',
      width: 240,
      height: 160,
      frames: 2,
      format: 'png',
      shiftPx: 0,
      rollDeg: 0,
    } as const;
    await renderScene({ ...common, out: quiet, noise: 0, flickerPercent: 0 });
    await renderScene({ ...common, out: noisy, noise: 2, flickerPercent: 0, hotPixels: 5 });
    const differences: number[] = [];
    const hot: number[][] = [];
    for (const name of ['0001.png', '0002.png']) {
      const clean = await readBytes(join(quiet, 'frames', name));
      const real = await readBytes(join(noisy, 'frames', name));
      const bright: number[] = [];
      for (let i = 0; i < clean.length; i++) {
        if (real[i] - clean[i] > 25) bright.push(i);
        // Close to the mid grey at which the strength is meant.
        else if (Math.abs(clean[i] - 124) < 12) differences.push(real[i] - clean[i]);
      }
      hot.push(bright);
    }
    const square = differences.reduce((sum, value) => sum + value * value, 0) / differences.length;
    // Rounding both pictures adds 1/12 twice.
    expect(Math.abs(Math.sqrt(square - 2 / 12) - 2)).toBeLessThan(0.2);
    expect(hot[0].length).toBeGreaterThan(0);
    expect(hot[0].length).toBeLessThanOrEqual(5);
    expect(hot[1]).toEqual(hot[0]);
  });

  it('keeps dust in its place on the sensor while the picture moves', async () => {
    const common = {
      scene: 'seed-head',
      width: 240,
      height: 160,
      frames: 2,
      format: 'png',
      noise: 0,
    } as const;
    const clean = join(folder, 'clean');
    const dusty = join(folder, 'dusty');
    await renderScene({ ...common, out: clean });
    await renderScene({ ...common, out: dusty, dust: 4 });
    const specks: Set<number>[] = [];
    for (const name of ['0001.png', '0002.png']) {
      const without = await readBytes(join(clean, 'frames', name));
      const withDust = await readBytes(join(dusty, 'frames', name));
      expect(withDust.every((value, i) => value <= without[i])).toBe(true);
      specks.push(new Set([...without.keys()].filter((i) => withDust[i] < without[i] - 1)));
    }
    const shared = [...specks[0]].filter((i) => specks[1].has(i)).length;
    expect(shared).toBeGreaterThan(50);
    expect(shared / Math.max(specks[0].size, specks[1].size)).toBeGreaterThan(0.9);
  });

  it('says which option is out of range', async () => {
    const bad = renderScene({ scene: 'tilted-plane', out: join(folder, 'bad'), ...tiny, fNumber: -1 });
    await expect(bad).rejects.toThrow(UsageError);
    await expect(bad).rejects.toThrow('Expected a number above 0 for fNumber but received -1');
  });
});

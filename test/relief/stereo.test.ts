import { createHash } from 'node:crypto';
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';
import type openCv from '@techstark/opencv-js';
import sharp from 'sharp';
import { beforeAll, describe, expect, it } from 'vitest';
import { anaglyph } from '../../src/relief/anaglyph.js';
import { makeLoop } from '../../src/relief/loop.js';
import { makeStereo, type StereoReport } from '../../src/relief/stereo.js';
import type { RunRecord } from '../../src/result/run-record.js';
import { sampleFrame } from '../result/sample-record.js';
import { temporaryFolder } from '../result/temporary-folder.js';
import { type MadeScene, writeMadeResult } from './made-result.js';

// Required, not imported: the module has a `then` that yields itself, so awaiting its import never ends.
const cv: typeof openCv = createRequire(import.meta.url)('@techstark/opencv-js');

beforeAll(async () => {
  if (typeof cv.Mat === 'function') return;
  await new Promise<void>((resolve) => {
    cv.onRuntimeInitialized = resolve;
  });
});

/** A soft texture without a period, 0 to 255. */
function texture(x: number, y: number): [number, number, number] {
  const wave = (a: number, b: number, c: number) => Math.sin(a * x + b * y + c);
  const value = 128 + 35 * (wave(0.5, 0.13, 0) + wave(-0.21, 0.47, 1) + wave(0.83, -0.31, 2));
  return [value, value * 0.9, value * 0.8].map((sample) =>
    Math.max(0, Math.min(255, Math.round(sample))),
  ) as [number, number, number];
}

/** A block before a ground that leans away. */
const scene: MadeScene = {
  width: 240,
  height: 160,
  pixelMm: 0.01,
  stepMm: 0.05,
  depthMm: (x, y) => (Math.abs(x) < 0.4 && Math.abs(y) < 0.3 ? -0.3 + 0.1 * x : 0.3 + 0.15 * x),
  colour: texture,
};

async function resultOf(made: MadeScene): Promise<{ folder: string; record: RunRecord }> {
  const folder = temporaryFolder();
  return { folder, record: await writeMadeResult(folder, made) };
}

async function rgbOf(path: string) {
  const { data, info } = await sharp(path).removeAlpha().raw().toBuffer({ resolveWithObject: true });
  return { data: new Uint8Array(data), width: info.width, height: info.height };
}

/** Where OpenCV finds a patch of one picture in the same row of another, to a fraction of a pixel. */
function matchedColumn(from: openCv.Mat, to: openCv.Mat, x: number, y: number, reach: number): number {
  const half = 7;
  const patch = from.roi(new cv.Rect(x - half, y - half, 2 * half + 1, 2 * half + 1));
  const left = Math.max(0, x - half - reach);
  const right = Math.min(to.cols, x + half + 1 + reach);
  const strip = to.roi(new cv.Rect(left, y - half, right - left, 2 * half + 1));
  const scores = new cv.Mat();
  try {
    cv.matchTemplate(strip, patch, scores, cv.TM_CCOEFF_NORMED);
    const at = scores.data32F.indexOf(scores.data32F.reduce((most, score) => Math.max(most, score)));
    const [a, b, c] = [at - 1, at, at + 1].map((column) => scores.data32F[column] ?? Number.NaN);
    return left + half + at + (a - c) / (2 * (a - 2 * b + c));
  } finally {
    for (const mat of [patch, strip, scores]) mat.delete();
  }
}

describe('a stereo pair', () => {
  it('has the parallax of the relief within half a pixel, as OpenCV measures it', async () => {
    const { folder } = await resultOf(scene);
    const out = join(temporaryFolder(), 'pair.png');
    const report = await makeStereo(folder, { stereo: 'top-bottom', out });
    const { data, width } = await rgbOf(out);
    const { height } = report.viewSize;
    const grey = Uint8Array.from({ length: width * 2 * height }, (_, i) => data[3 * i]);
    const both = cv.matFromArray(2 * height, width, cv.CV_8U, [...grey]);
    const left = both.roi(new cv.Rect(0, 0, width, height));
    const right = both.roi(new cv.Rect(0, height, width, height));
    expect(report.maxParallaxPx).toBeGreaterThan(5);
    let measured = 0;
    for (const [x, y] of [
      [120, 80],
      [95, 62],
      [140, 100],
      [30, 40],
      [50, 130],
      [200, 30],
      [205, 120],
    ]) {
      const [mmX, mmY] = [(x - 119.5) * scene.pixelMm, (y - 79.5) * scene.pixelMm];
      const share = (scene.depthMm(mmX, mmY) - report.nearDepth) / (report.farDepth - report.nearDepth);
      const parallax = Math.max(0, Math.min(1, share)) * report.maxParallaxPx;
      const seenLeft = x - parallax / 2 - report.cutPx;
      const column = Math.round(seenLeft);
      const found = matchedColumn(left, right, column, y, 15) - column;
      expect(Math.abs(found - parallax), `${x}, ${y}: ${found} for ${parallax}`).toBeLessThan(0.5);
      measured++;
    }
    expect(measured).toBe(7);
    for (const mat of [left, right, both]) mat.delete();
  });

  it('keeps its parallax within the share of the width that is asked for', async () => {
    const { folder } = await resultOf({ ...scene, record: { mmPerPixel: undefined } });
    for (const comfortPercent of [1, 3.3, 6]) {
      const out = join(temporaryFolder(), 'pair.png');
      const { maxParallaxPx, viewSize } = await makeStereo(folder, { comfortPercent, out });
      const percent = (100 * maxParallaxPx) / viewSize.width;
      expect(percent).toBeLessThanOrEqual(comfortPercent);
      expect(percent).toBeGreaterThan(0.95 * comfortPercent);
    }
  });

  it('has the left picture on the left for parallel eyes, on the right for crossed ones, on top one above the other', async () => {
    const { folder } = await resultOf(scene);
    const make = async (stereo: StereoReport['stereo']) => {
      const out = join(temporaryFolder(), 'pair.png');
      const report = await makeStereo(folder, { stereo, out });
      return { ...(await rgbOf(out)), report };
    };
    const [parallel, crossed, stacked] = [
      await make('parallel'),
      await make('crossed'),
      await make('top-bottom'),
    ];
    const { width, height } = stacked.report.viewSize;
    const part = ({ data, width: whole }: { data: Uint8Array; width: number }, x: number, y: number) =>
      Buffer.concat(
        Array.from({ length: height }, (_, row) => {
          const from = 3 * ((y + row) * whole + x);
          return data.subarray(from, from + 3 * width);
        }),
      );
    const left = part(stacked, 0, 0);
    const right = part(stacked, 0, height);
    expect(left.equals(right)).toBe(false);
    expect(part(parallel, 0, 0).equals(left)).toBe(true);
    expect(part(parallel, parallel.width - width, 0).equals(right)).toBe(true);
    expect(part(crossed, 0, 0).equals(right)).toBe(true);
    expect(part(crossed, crossed.width - width, 0).equals(left)).toBe(true);
  });

  it('shows what the composite hides as the frames saw it, and says so where they are gone', async () => {
    // A hair of six pixels before a far texture, which the photographs show without it: blurred away.
    const isHair = (x: number) => x >= 117 && x < 123;
    const photographs = temporaryFolder();
    const pixels = new Uint8Array(240 * 160 * 3);
    for (let i = 0; i < 240 * 160; i++) pixels.set(texture(i % 240, Math.floor(i / 240)), 3 * i);
    const png = await sharp(pixels, { raw: { width: 240, height: 160, channels: 3 } })
      .png()
      .toBuffer();
    const sha256 = createHash('sha256').update(png).digest('hex');
    const frames = Array.from({ length: 9 }, (_, i) => {
      writeFileSync(join(photographs, `${i + 1}.png`), png);
      const name = `${i + 1}.png`;
      return sampleFrame(i + 1, { name, path: name, sha256, depth: (i - 4) * 0.05, gainRatio: [1, 1, 1] });
    });
    const { folder } = await resultOf({
      ...scene,
      depthMm: (x) => (isHair(Math.round(x / 0.01 + 119.5)) ? -0.2 : 0.2),
      colour: (x, y) => (isHair(x) ? [255, 250, 240] : texture(x, y)),
      record: { folder: photographs, frames, mmPerPixel: undefined },
    });
    const make = async () => {
      const out = join(temporaryFolder(), 'pair.png');
      const report = await makeStereo(folder, { stereo: 'top-bottom', out, comfortPercent: 6 });
      const { data, width } = await rgbOf(out);
      // The far texture in the left picture, shifted by half of the parallax.
      let [error, count] = [0, 0];
      for (let y = 20; y < 140; y++) {
        for (let x = 20; x < width - 20; x++) {
          const [red, green, blue] = data.subarray(3 * (y * width + x));
          if (red > 235 && green > 225 && blue > 215) continue;
          const column = x + report.cutPx + report.maxParallaxPx / 2;
          const isHidden = isHair(Math.round(column));
          if (!isHidden) continue;
          error += Math.abs(red - texture(column, y)[0]);
          count++;
        }
      }
      return { report, error: error / count, count };
    };
    const seen = await make();
    expect(seen.count).toBeGreaterThan(400);
    expect(seen.report.hiddenPercent).toBeGreaterThan(1);
    expect(seen.report.seenPercent).toBeGreaterThan(95);
    expect(seen.report.notes.join(' ')).not.toContain('Hidden parts');
    // Bright parts of the texture are taken for the blur of the pale hair, and stay as they are reflected.
    expect(seen.error).toBeLessThan(15);
    // Of nine frames those are read whose plane is that of the far texture, and three that show hot pixels.
    for (const number of [2, 3, 4, 6, 7]) writeFileSync(join(photographs, `${number}.png`), 'gone');
    expect(await make()).toEqual({ ...seen, report: { ...seen.report, out: expect.any(String) } });
    for (const name of readdirSync(photographs)) writeFileSync(join(photographs, name), 'gone');
    const unseen = await make();
    expect(unseen.report.seenPercent).toBe(0);
    expect(unseen.report.notes.join(' ')).toContain('Hidden parts are filled from beside them');
    expect(unseen.error).toBeGreaterThan(2 * seen.error);
  });

  it('for glasses shows each eye its own light: grey alike to both, and no more red than the left sees', () => {
    const left = Uint8Array.of(200, 100, 50, 0, 0, 0);
    const right = Uint8Array.of(0, 0, 0, 40, 180, 90);
    const [red, green, blue, ...second] = anaglyph(left, right, 'grey');
    // Luminance of sRGB (IEC 61966-2-1), worked out apart from the program.
    expect(red).toBe(128);
    expect([green, blue, second[0]]).toEqual([0, 0, 0]);
    expect(second[1]).toBe(second[2]);
    const white = new Uint8Array(3).fill(255);
    for (const value of anaglyph(white, white, 'colour')) expect(value).toBeGreaterThan(250);
    expect([...anaglyph(white, new Uint8Array(3), 'colour')]).toEqual([255, 0, 0]);
  });
});

describe('a loop', () => {
  const small: MadeScene = { ...scene, width: 120, height: 80 };

  it('rocks from left to right and back as an animation, which a second reader opens', async () => {
    const { folder } = await resultOf(small);
    const out = join(temporaryFolder(), 'rocking.webp');
    const report = await makeLoop(folder, { loop: 'rocking', out });
    const { pages, delay, loop, width, pageHeight } = await sharp(out, { animated: true }).metadata();
    expect({ pages, loop, width, pageHeight }).toEqual({
      pages: report.pictures,
      loop: 0,
      width: report.size.width,
      pageHeight: report.size.height,
    });
    expect(new Set(delay)).toEqual(new Set([62]));
    await expect(makeLoop(folder, { loop: 'rocking', out })).rejects.toThrow('exists already');
    await makeLoop(folder, { loop: 'rocking', out, overwrite: true });
    writeFileSync(
      out,
      await sharp({ create: { width: 9, height: 9, channels: 3, background: 'red' } })
        .webp()
        .toBuffer(),
    );
    await expect(makeLoop(folder, { loop: 'rocking', out, overwrite: true })).rejects.toThrow(
      'is no moving picture',
    );
  });

  it('comes as numbered pictures in a folder that is not there yet', async () => {
    const { folder } = await resultOf(small);
    const out = join(temporaryFolder(), 'pictures');
    const { pictures, size } = await makeLoop(folder, { loop: 'rocking', out });
    const names = readdirSync(out).sort();
    expect(names).toHaveLength(pictures);
    expect([names[0], names.at(-1)]).toEqual(['0001.png', `${String(pictures).padStart(4, '0')}.png`]);
    const first = await rgbOf(join(out, names[0]));
    expect([first.width, first.height]).toEqual([size.width, size.height]);
    // There and back: the second and the last are one picture, the first and the middle one are not.
    expect(readFileSync(join(out, names[1]))).toEqual(readFileSync(join(out, names.at(-1)!)));
    expect(readFileSync(join(out, names[0]))).not.toEqual(readFileSync(join(out, names[pictures / 2])));
    await expect(makeLoop(folder, { loop: 'rocking', out })).rejects.toThrow('exists already');
    expect(readdirSync(join(out, '..'))).toEqual(['pictures']);
  });

  it('travels through the frames from near to far and back, or says which photograph is missing', async () => {
    const photographs = temporaryFolder();
    mkdirSync(photographs, { recursive: true });
    const frames = await Promise.all(
      [1, 2, 3, 4].map(async (number) => {
        const grey = 40 * number;
        const background = { r: grey, g: grey, b: grey };
        const png = await sharp({ create: { width: 120, height: 80, channels: 3, background } })
          .png()
          .toBuffer();
        const name = `${number}.png`;
        writeFileSync(join(photographs, name), png);
        const sha256 = createHash('sha256').update(png).digest('hex');
        // Shot from far to near.
        return sampleFrame(number, { name, path: name, sha256, depth: -0.05 * number, gainRatio: [1, 1, 1] });
      }),
    );
    const { folder } = await resultOf({
      ...small,
      record: { folder: photographs, frames, direction: 'far-to-near' },
    });
    const out = join(temporaryFolder(), 'pictures');
    await makeLoop(folder, { loop: 'travel', out });
    const greys = await Promise.all(
      readdirSync(out)
        .sort()
        .map(async (name) => (await rgbOf(join(out, name))).data[3 * (40 * 120 + 60)]),
    );
    expect(greys).toEqual([160, 120, 80, 40, 80, 120]);
    writeFileSync(join(photographs, '3.png'), 'another');
    const again = join(temporaryFolder(), 'travel.webp');
    await expect(makeLoop(folder, { loop: 'travel', out: again })).rejects.toThrow(
      /Frame 3 .* has changed since the merge/,
    );
  });
});

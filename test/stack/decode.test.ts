import { readFileSync, truncateSync, unlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import ndarray from 'ndarray';
import ops from 'ndarray-ops';
import { PNG } from 'pngjs';
import sharp from 'sharp';
import * as UTIF from 'utif2';
import { describe, expect, it } from 'vitest';
import { InputError } from '../../src/errors.js';
import { partOf, viewOf } from '../../src/image/view.js';
import { decodeFrame, type Shrink } from '../../src/stack/decode.js';
import type { FrameFile } from '../../src/stack/frame.js';
import { claimingPng, frameOf, makeFolder, tagOrientation } from './pictures.js';

const folder = makeFolder();

type Samples = Uint8Array | Uint16Array;

/** Writes samples as a lossless file and returns it as a listed frame. */
async function store(
  name: string,
  samples: Samples,
  width: number,
  height: number,
  channels: 1 | 2 | 3 | 4,
  options: { orientation?: number } = {},
): Promise<FrameFile> {
  const path = join(folder, name);
  const deep = samples instanceof Uint16Array;
  let picture = sharp(samples, { raw: { width, height, channels } });
  if (channels < 3) picture = picture.toColourspace(deep ? 'grey16' : 'b-w');
  else if (deep) picture = picture.toColourspace('rgb16');
  const format = name.endsWith('.png') ? 'png' : name.endsWith('.webp') ? 'webp' : 'tiff';
  if (format === 'png') picture.png();
  else if (format === 'webp') picture.webp({ lossless: true, exact: true });
  else picture.tiff({ compression: 'lzw', predictor: 'horizontal' });
  const { orientation = 1 } = options;
  if (format === 'webp' && orientation > 1) picture.withMetadata({ orientation });
  const file = await picture.toBuffer();
  writeFileSync(path, format === 'webp' || orientation === 1 ? file : tagOrientation(file, orientation));
  const turned = orientation > 4;
  return frameOf(path, {
    format,
    size: turned ? { width: height, height: width } : { width, height },
    bits: deep ? 16 : 8,
    channels: channels < 3 ? 1 : 3,
    orientation,
  });
}

/** Every 16-bit value once. */
const ramp16 = new Uint16Array(65536).map((_, i) => i);
/** 8-bit values that change from pixel to pixel in every channel. */
const noise8 = (length: number): Uint8Array =>
  new Uint8Array(length).map((_, i) => (i * 73 + (i >> 4) * 19) & 255);

describe('exact reading', () => {
  it('returns every 16-bit value of a grey PNG and TIFF as stored', async () => {
    for (const name of ['ramp.png', 'ramp.tif']) {
      const decoded = await decodeFrame(await store(name, ramp16, 256, 256, 1));
      expect(decoded).toMatchObject({ width: 256, height: 256, channels: 1, bits: 16, shrink: 1 });
      expect(decoded.pixels).toBeInstanceOf(Uint16Array);
      expect(Buffer.compare(Buffer.from(decoded.pixels.buffer), Buffer.from(ramp16.buffer))).toBe(0);
    }
  });

  it('returns 16-bit RGB as another PNG reader does', async () => {
    const rgb = new Uint16Array(96 * 64 * 3).map((_, i) => (i * 40503) & 65535);
    const frame = await store('rgb16.png', rgb, 96, 64, 3);
    // pngjs always hands out four channels.
    const other = PNG.sync.read(readFileSync(frame.path), { skipRescale: true })
      .data as unknown as Uint16Array;
    const { pixels } = await decodeFrame(frame);
    expect(pixels).toEqual(rgb);
    expect(pixels).toEqual(other.filter((_, i) => i % 4 < 3));
  });

  it('returns 16-bit RGB as another TIFF reader does', async () => {
    const rgb = new Uint16Array(96 * 64 * 3).map((_, i) => (i * 40503) & 65535);
    const path = join(folder, 'other.tif');
    await sharp(rgb, { raw: { width: 96, height: 64, channels: 3 } })
      .toColourspace('rgb16')
      .tiff({ compression: 'none' })
      .toFile(path);
    const bytes = readFileSync(path);
    const [directory] = UTIF.decode(bytes);
    UTIF.decodeImage(bytes, directory);
    const other = new Uint16Array(directory.data.slice().buffer);
    const { pixels } = await decodeFrame(
      frameOf(path, { format: 'tiff', size: { width: 96, height: 64 }, bits: 16 }),
    );
    expect(pixels).toEqual(other);
    expect(pixels).toEqual(rgb);
  });

  it('returns 8-bit RGB and grey of PNG, TIFF and WebP as stored', async () => {
    const rgb = noise8(50 * 40 * 3);
    for (const name of ['a.png', 'a.tif', 'a.webp']) {
      expect((await decodeFrame(await store(name, rgb, 50, 40, 3))).pixels).toEqual(rgb);
    }
    const grey = noise8(50 * 40);
    for (const name of ['g.png', 'g.tif']) {
      const decoded = await decodeFrame(await store(name, grey, 50, 40, 1));
      expect(decoded.channels).toBe(1);
      expect(decoded.pixels).toEqual(grey);
    }
  });

  it('keeps a checkerboard of single pixels sharp', async () => {
    const board = new Uint8Array(64 * 48).map((_, i) => (((i % 64) + Math.floor(i / 64)) % 2) * 255);
    const decoded = await decodeFrame(await store('board.png', board, 64, 48, 1));
    expect(decoded.pixels).toEqual(board);
  });

  it('leaves the numbers alone whatever colour profile is embedded', async () => {
    const rgb = noise8(40 * 30 * 3);
    const path = join(folder, 'p3.png');
    await sharp(rgb, { raw: { width: 40, height: 30, channels: 3 } })
      .withIccProfile('p3')
      .png()
      .toFile(path);
    const stored = PNG.sync.read(readFileSync(path)).data.filter((_, i) => i % 4 < 3);
    const { pixels } = await decodeFrame(frameOf(path, { format: 'png', size: { width: 40, height: 30 } }));
    expect((await sharp(path).metadata()).hasProfile).toBe(true);
    expect(pixels).toEqual(new Uint8Array(stored));
  });

  it('reads the colours of a palette PNG', async () => {
    const path = join(folder, 'palette.png');
    const rgb = new Uint8Array(16 * 16 * 3).map((_, i) => ((i * 7) % 4) * 85);
    await sharp(rgb, { raw: { width: 16, height: 16, channels: 3 } })
      .png({ palette: true, colours: 64, dither: 0, quality: 100 })
      .toFile(path);
    expect((await sharp(path).metadata()).isPalette).toBe(true);
    const other = PNG.sync.read(readFileSync(path)).data.filter((_, i) => i % 4 < 3);
    const { pixels } = await decodeFrame(frameOf(path, { format: 'png', size: { width: 16, height: 16 } }));
    expect(pixels).toEqual(new Uint8Array(other));
  });

  it('reads a TIFF of one bit a pixel as black and white', async () => {
    const path = join(folder, 'bits.tif');
    const board = new Uint8Array(32 * 16).map((_, i) => (i % 3 === 0 ? 255 : 0));
    await sharp(board, { raw: { width: 32, height: 16, channels: 1 } })
      .toColourspace('b-w')
      .tiff({ bitdepth: 1, compression: 'none' })
      .toFile(path);
    const { pixels } = await decodeFrame(
      frameOf(path, { format: 'tiff', size: { width: 32, height: 16 }, channels: 1 }),
    );
    expect(pixels).toEqual(board);
  });

  it('keeps the colour below full transparency', async () => {
    for (const name of ['alpha.png', 'alpha.tif', 'alpha.webp']) {
      const rgba = noise8(40 * 30 * 4).map((value, i) => (i % 4 === 3 ? (i >> 2) % 3 : value));
      const { pixels, channels } = await decodeFrame(await store(name, rgba, 40, 30, 4));
      expect(channels).toBe(3);
      expect(pixels).toEqual(rgba.filter((_, i) => i % 4 < 3));
    }
    for (const name of ['grey-alpha.png', 'grey-alpha.tif']) {
      const both = ramp16.slice(0, 40 * 30 * 2).map((value, i) => (i % 2 === 1 ? i % 7 : value * 5));
      const { pixels, channels } = await decodeFrame(await store(name, both, 40, 30, 2));
      expect(channels).toBe(1);
      expect(pixels).toEqual(both.filter((_, i) => i % 2 === 0));
    }
    const deep = ramp16.slice(0, 40 * 30 * 4).map((value, i) => (i % 4 === 3 ? i % 7 : value * 3));
    for (const name of ['alpha16.png', 'alpha16.tif']) {
      const { pixels } = await decodeFrame(await store(name, deep, 40, 30, 4));
      expect(pixels).toEqual(deep.filter((_, i) => i % 4 < 3));
    }
  });
});

describe('widening to the stack', () => {
  it('widens 8 bits to 16 so that white stays white', async () => {
    const grey = new Uint8Array(256).map((_, i) => i);
    const frame = { ...(await store('wide.png', grey, 16, 16, 1)), bits: 16 as const };
    const decoded = await decodeFrame(frame);
    expect(decoded.bits).toBe(16);
    expect(decoded.pixels).toEqual(new Uint16Array(256).map((_, i) => i * 257));
    expect(decoded.pixels[255]).toBe(65535);
  });

  it('repeats grey in three channels', async () => {
    const grey = noise8(16 * 16);
    const narrow = await decodeFrame({ ...(await store('grey.png', grey, 16, 16, 1)), channels: 3 });
    expect(narrow.pixels).toEqual(new Uint8Array(768).map((_, i) => grey[Math.floor(i / 3)]));
    const wide = await decodeFrame({ ...(await store('grey.tif', grey, 16, 16, 1)), channels: 3, bits: 16 });
    expect(wide.pixels).toEqual(new Uint16Array(768).map((_, i) => grey[Math.floor(i / 3)] * 257));
  });
});

// EXIF 2.32, tag 274: the visual side of the 0th row and of the 0th column.
const sides: [number, string, string][] = [
  [1, 'top', 'left'],
  [2, 'top', 'right'],
  [3, 'bottom', 'right'],
  [4, 'bottom', 'left'],
  [5, 'left', 'top'],
  [6, 'right', 'top'],
  [7, 'right', 'bottom'],
  [8, 'left', 'bottom'],
];

describe('orientation', () => {
  /** Carries each stored pixel (row, col) to where the table says it is seen. */
  const upright = (stored: Samples, width: number, height: number, row0: string, col0: string): Samples => {
    const turned = row0 === 'left' || row0 === 'right';
    const outWidth = turned ? height : width;
    const outHeight = turned ? width : height;
    const seen = stored.slice();
    const from = viewOf(stored, { width, height }, 3);
    const to = viewOf(seen, { width: outWidth, height: outHeight }, 3);
    for (let row = 0; row < height; row++) {
      for (let col = 0; col < width; col++) {
        const place = (side: string, steps: number): number =>
          ({ top: steps, left: steps, bottom: outHeight - 1 - steps, right: outWidth - 1 - steps })[side]!;
        const x = turned ? place(row0, row) : place(col0, col);
        const y = turned ? place(col0, col) : place(row0, row);
        ops.assign(to.pick(y, x, null), from.pick(row, col, null));
      }
    }
    return seen;
  };

  for (const [orientation, row0, col0] of sides) {
    it(`turns orientation ${orientation} upright once, in every format`, async () => {
      const rgb = noise8(24 * 16 * 3);
      const deep = new Uint16Array(24 * 16 * 3).map((_, i) => (i * 40503) & 65535);
      for (const [ending, samples] of [
        ['png', rgb],
        ['webp', rgb],
        ['tif', rgb],
        ['png', deep],
        ['tif', deep],
      ] as const) {
        const frame = await store(`o${orientation}.${ending}`, samples, 24, 16, 3, { orientation });
        const decoded = await decodeFrame(frame);
        expect(decoded).toMatchObject(frame.size);
        expect(decoded.pixels).toEqual(upright(samples, 24, 16, row0, col0));
      }
    });

    it(`turns a JPEG of orientation ${orientation} upright, in full and reduced`, async () => {
      // Blocks of one level, judged away from their edges: these survive JPEG and reduction.
      const width = 192;
      const height = 96;
      const level = (row: number, col: number): number =>
        20 + 28 * (Math.floor(row / 48) * 4 + Math.floor(col / 48));
      const stored = new Uint8Array(width * height * 3).map((_, i) => {
        const pixel = Math.floor(i / 3);
        return level(Math.floor(pixel / width), pixel % width);
      });
      const path = join(folder, `o${orientation}.jpg`);
      await sharp(stored, { raw: { width, height, channels: 3 } })
        .withMetadata({ orientation })
        .jpeg({ quality: 100, chromaSubsampling: '4:4:4' })
        .toFile(path);
      const size = orientation > 4 ? { width: height, height: width } : { width, height };
      const frame = frameOf(path, { format: 'jpeg', size, orientation });
      const seen = upright(stored, width, height, row0, col0);
      for (const shrink of [1, 2, 4, 8] as Shrink[]) {
        const decoded = await decodeFrame(frame, { shrink });
        expect(decoded).toMatchObject({ width: size.width / shrink, height: size.height / shrink, shrink });
        let worst = 0;
        for (let y = 0; y < decoded.height; y++) {
          for (let x = 0; x < decoded.width; x++) {
            const [left, top] = [x * shrink, y * shrink];
            if (left % 48 < 8 || left % 48 >= 40 || top % 48 < 8 || top % 48 >= 40) continue;
            const expected = seen[(top * size.width + left) * 3];
            worst = Math.max(worst, Math.abs(decoded.pixels[(y * decoded.width + x) * 3] - expected));
          }
        }
        expect(worst).toBeLessThanOrEqual(3);
      }
    });
  }
});

describe('reduced reading', () => {
  /** A round bright spot on black, and its exact centre. */
  const spot = (width: number, height: number, x0: number, y0: number, radius: number): Uint8Array =>
    new Uint8Array(width * height * 3).map((_, i) => {
      const pixel = Math.floor(i / 3);
      const squared = ((pixel % width) - x0) ** 2 + (Math.floor(pixel / width) - y0) ** 2;
      return 230 * Math.exp(-squared / (2 * radius * radius));
    });

  /** Centre of mass of the first channel in full pixels, by the documented mapping. */
  const centre = (picture: { pixels: Samples; width: number; shrink: number }): [number, number] => {
    let sum = 0;
    let sumX = 0;
    let sumY = 0;
    for (let i = 0; i < picture.pixels.length / 3; i++) {
      // The floor of JPEG noise around the spot would pull the centre.
      const value = Math.max(0, picture.pixels[i * 3] - 12);
      sum += value;
      sumX += value * (((i % picture.width) + 0.5) * picture.shrink - 0.5);
      sumY += value * ((Math.floor(i / picture.width) + 0.5) * picture.shrink - 0.5);
    }
    return [sumX / sum, sumY / sum];
  };

  for (const [width, height] of [
    [320, 240],
    [323, 237],
  ]) {
    for (const format of ['jpeg', 'png', 'tiff', 'webp'] as const) {
      it(`puts a spot of a ${width} x ${height} ${format} where the mapping says, within 0.1 px`, async () => {
        const [x0, y0] = [203.3, 141.7];
        const path = join(folder, `spot-${width}.${format}`);
        await sharp(spot(width, height, x0, y0, 20), { raw: { width, height, channels: 3 } })
          .toFormat(format, { quality: 98, ...(format === 'tiff' && { compression: 'lzw' }) })
          .toFile(path);
        for (const shrink of [1, 2, 4, 8] as Shrink[]) {
          const decoded = await decodeFrame(frameOf(path, { format, size: { width, height } }), { shrink });
          expect(decoded.width).toBe(Math.floor(width / shrink));
          expect(decoded.height).toBe(Math.floor(height / shrink));
          const [x, y] = centre(decoded);
          expect(Math.hypot(x - x0, y - y0)).toBeLessThan(0.1);
        }
      });
    }
  }

  it.each(['jpeg', 'png'] as const)('reduces a %s for a preview by both factors together', async (format) => {
    const [width, height] = [323, 237];
    const [x0, y0] = [203.3, 141.7];
    const path = join(folder, `preview.${format}`);
    await sharp(spot(width, height, x0, y0, 20), { raw: { width, height, channels: 3 } })
      .toFormat(format, { quality: 98 })
      .toFile(path);
    for (const factor of [2, 4, 8] as const) {
      const size = { width: Math.floor(width / factor), height: Math.floor(height / factor) };
      const reduced = { factor, fileSize: { width, height } };
      const frame = { ...frameOf(path, { format, size }), reduced };
      for (const shrink of [1, 2] as Shrink[]) {
        const decoded = await decodeFrame(frame, { shrink });
        const total = factor * shrink;
        expect(decoded).toMatchObject({
          width: Math.floor(width / total),
          height: Math.floor(height / total),
          shrink,
        });
        const [x, y] = centre({ ...decoded, shrink: total });
        expect(Math.hypot(x - x0, y - y0)).toBeLessThan(0.2);
      }
    }
  });

  it('reduces 16 bits by exact block means', async () => {
    const width = 70;
    const height = 53;
    const deep = new Uint16Array(width * height * 3).map((_, i) => (i * 40503) & 65535);
    const green = viewOf(deep, { width, height }, 3).pick(null, null, 1);
    const frame = await store('deep.tif', deep, width, height, 3);
    for (const shrink of [2, 4, 8] as Shrink[]) {
      const decoded = await decodeFrame(frame, { shrink });
      const found = viewOf(decoded.pixels, decoded, 3).pick(null, null, 1);
      for (let y = 0; y < decoded.height; y++) {
        for (let x = 0; x < decoded.width; x++) {
          const block = { x: x * shrink, y: y * shrink, width: shrink, height: shrink };
          const mean = ops.sum(partOf(green, block)) / shrink ** 2;
          expect(Math.abs(found.get(y, x) - mean)).toBeLessThanOrEqual(0.5);
        }
      }
    }
  });

  it.each([
    [96, 64, 1],
    [101, 75, 1],
    [64, 96, 6],
    // Has to be turned and is cut off at the right: reduced after it is decoded.
    [75, 101, 6],
  ])('gives the mean of blocks of a JPEG: %i x %i, orientation %i', async (width, height, orientation) => {
    const stored = orientation === 6 ? { width: height, height: width } : { width, height };
    const waves = new Uint8Array(width * height * 3).map((_, i) => {
      const pixel = Math.floor(i / 3);
      const [x, y] = [pixel % stored.width, Math.floor(pixel / stored.width)];
      return 120 + 60 * Math.sin(0.4 * x + (i % 3)) + 30 * Math.sin(1.3 * y) + (((x * 31 + y * 17) % 13) - 6);
    });
    const path = join(folder, `blocks [${width} x ${height}][${orientation}].jpg`);
    await sharp(waves, { raw: { ...stored, channels: 3 } })
      .withMetadata({ orientation })
      .jpeg({ quality: 95, chromaSubsampling: '4:4:4' })
      .toFile(path);
    const frame = frameOf(path, { format: 'jpeg', size: { width, height }, orientation });
    const full = await decodeFrame(frame);
    for (const shrink of [1, 2, 4, 8] as Shrink[]) {
      const reduced = await decodeFrame(frame, { shrink });
      const [columns, rows] = [Math.floor(width / shrink), Math.floor(height / shrink)];
      expect(reduced).toMatchObject({ width: columns, height: rows, channels: 3, bits: 8, shrink });
      expect(reduced.pixels).toHaveLength(columns * rows * 3);
      const sums = ndarray(new Float64Array(reduced.pixels.length), [rows, columns, 3]);
      for (let v = 0; v < shrink; v++) {
        for (let u = 0; u < shrink; u++) {
          const picture = viewOf(full.pixels, full, 3).lo(v, u).step(shrink, shrink);
          ops.addeq(sums, picture.hi(rows, columns));
        }
      }
      ops.divseq(sums, shrink ** 2);
      ops.subeq(sums, viewOf(reduced.pixels, reduced, 3));
      // Brightness and colour are rounded, and turned into RGB, before the mean or after it.
      expect(ops.norminf(sums)).toBeLessThanOrEqual(3);
    }
  });

  it('refuses to reduce a picture to nothing', async () => {
    const frame = await store('tiny.png', noise8(5 * 4 * 3), 5, 4, 3);
    await expect(decodeFrame(frame, { shrink: 8 })).rejects.toThrow(/shrink .* received 8/);
  });
});

describe('damaged files', () => {
  it('says which file is cut short and how to leave it out', async () => {
    const rgb = noise8(200 * 160 * 3);
    for (const format of ['jpeg', 'png', 'tiff', 'webp'] as const) {
      const path = join(folder, `cut.${format}`);
      const whole = await sharp(rgb, { raw: { width: 200, height: 160, channels: 3 } })
        .toFormat(format)
        .toBuffer();
      writeFileSync(path, whole);
      truncateSync(path, Math.floor(whole.length * 0.6));
      const frame = frameOf(path, { format, size: { width: 200, height: 160 }, number: 7 });
      const error = await decodeFrame(frame).catch((reason: unknown) => reason);
      expect(error).toBeInstanceOf(InputError);
      expect((error as Error).message).toMatch(/^cut\.\w+ is cut short or damaged \(.+\): .* skip 7\.$/);
      expect((error as Error).message).not.toContain('\n');
    }
  });

  it('reports a reduced JPEG that is cut short as well', async () => {
    const path = join(folder, 'cut-reduced.jpg');
    const whole = await sharp(noise8(160 * 160 * 3), { raw: { width: 160, height: 160, channels: 3 } })
      .jpeg()
      .toBuffer();
    writeFileSync(path, whole.subarray(0, whole.length >> 1));
    const frame = frameOf(path, { format: 'jpeg', size: { width: 160, height: 160 } });
    await expect(decodeFrame(frame, { shrink: 4 })).rejects.toThrow(/cut-reduced\.jpg is cut short/);
  });

  it('notices a file that was removed or exchanged since it was listed', async () => {
    const frame = await store('gone.png', noise8(30 * 20 * 3), 30, 20, 3);
    await store('gone.png', noise8(20 * 30 * 3), 20, 30, 3);
    await expect(decodeFrame(frame)).rejects.toThrow(/gone\.png has changed since/);
    await store('gone.png', noise8(300 * 200 * 3), 300, 200, 3);
    await expect(decodeFrame(frame)).rejects.toThrow(/gone\.png has changed since/);
    writeFileSync(frame.path, claimingPng(20_000, 20_000));
    await expect(decodeFrame(frame)).rejects.toThrow(/gone\.png has changed since/);
    unlinkSync(frame.path);
    await expect(decodeFrame(frame)).rejects.toThrow(/gone\.png cannot be read: it no longer exists/);
  });
});

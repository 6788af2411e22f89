import { spawnSync } from 'node:child_process';
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp, { type Sharp } from 'sharp';
import { beforeAll, describe, expect, it } from 'vitest';
import { InputError, InterruptedError, OutputError, UsageError } from '../../src/errors.js';
import { type FramePixels, merge, mergePixels, readRunRecord } from '../../src/index.js';
import { makeFolder } from '../stack/pictures.js';
import { convertFiles, type Files, frameSize, placeStack, renderPlane } from './small-stack.js';

const { width, height } = frameSize;
let files: Files;

beforeAll(async () => {
  files = (await renderPlane({ format: 'png' })).files;
});

/** The pixels of a file as sharp, no reader of ours, decodes them. */
async function decode(file: Buffer, bits: 8 | 16, channels: 1 | 3): Promise<FramePixels> {
  const picture = sharp(file).toColourspace(
    channels === 1 ? (bits === 16 ? 'grey16' : 'b-w') : bits === 16 ? 'rgb16' : 'srgb',
  );
  const { data, info } = await picture
    .raw({ depth: bits === 16 ? 'ushort' : 'uchar' })
    .toBuffer({ resolveWithObject: true });
  expect(info.channels).toBe(channels);
  const bytes = Uint8Array.from(data);
  const pixels = bits === 16 ? new Uint16Array(bytes.buffer) : bytes;
  return { width: info.width, height: info.height, channels, pixels };
}

function decodeAll(stack: Files, bits: 8 | 16 = 8, channels: 1 | 3 = 3): Promise<FramePixels[]> {
  return Promise.all(Object.values(stack).map((file) => decode(file, bits, channels)));
}

/** Index of the first value that differs, NaN counting as itself; -1 when none does. */
function firstDifference(values: ArrayLike<number>, expected: ArrayLike<number>): number {
  expect(values.length).toBe(expected.length);
  return Array.prototype.findIndex.call(values, (value: number, i: number) => !Object.is(value, expected[i]));
}

async function* oneByOne<Item>(items: readonly Item[]): AsyncGenerator<Item> {
  for (const item of items) yield item;
}

describe('a merge of pixels', () => {
  it.each([
    ['8-bit colour', 8, 3, (picture: Sharp) => picture],
    ['16-bit colour', 16, 3, (picture: Sharp) => picture.toColourspace('rgb16')],
    ['8-bit grey', 8, 1, (picture: Sharp) => picture.toColourspace('b-w')],
  ] as const)('gives the values that a merge of files writes, of %s', async (_, bits, channels, change) => {
    const stack = await convertFiles(files, '.png', (picture) => change(picture).png());
    const place = placeStack(stack);
    const options = { stepMm: 0.05, anchor: 3, skip: [2], crop: 'anchor' as const };
    await merge(place.frames, { ...options, out: place.out, format: 'png' });
    const record = await readRunRecord(place.out);

    const merged = await mergePixels(oneByOne(await decodeAll(stack, bits, channels)), options);
    expect(merged).toMatchObject({ width, height, bits, channels, anchorNumber: 3, depthUnit: 'mm' });
    const read = (name: string) => readFileSync(join(place.out, name));
    expect(
      firstDifference(merged.composite, (await decode(read('composite.png'), bits, channels)).pixels),
    ).toBe(-1);
    expect(firstDifference(merged.sources, (await decode(read('sources.png'), 16, 1)).pixels)).toBe(-1);
    expect(firstDifference(merged.confidence, (await decode(read('confidence.png'), 8, 1)).pixels)).toBe(-1);
    const depth = await sharp(read('depth.tif')).toColourspace('b-w').raw({ depth: 'float' }).toBuffer();
    expect(firstDifference(merged.depth, new Float32Array(Uint8Array.from(depth).buffer))).toBe(-1);
    const colours = (await decode(read('coverage.png'), 8, 3)).pixels;
    const codes = new Map(
      record.maps.coverage.classes.map(({ name, colour }) => [
        Number.parseInt(colour.slice(1), 16),
        merged.coverageClasses.indexOf(name),
      ]),
    );
    const coverage = merged.coverage.map(
      (_, i) => codes.get((colours[3 * i] << 16) | (colours[3 * i + 1] << 8) | colours[3 * i + 2]) ?? 255,
    );
    expect(firstDifference(merged.coverage, coverage)).toBe(-1);
    expect(merged.frames.map(({ number, sharePercent }) => [number, sharePercent])).toEqual(
      record.frames.map(({ number, sharePercent }) => [number, sharePercent]),
    );
    expect(merged.frames.map(({ number }) => number)).toEqual([1, 3, 4, 5, 6, 7]);
  });

  it('hands out plain arrays that hold nothing else', async () => {
    const { composite, depth, sources, confidence, coverage } = await mergePixels(await decodeAll(files));
    for (const array of [composite, depth, sources, confidence, coverage]) {
      expect(array.buffer).toBeInstanceOf(ArrayBuffer);
      expect(array.buffer.byteLength).toBe(array.byteLength);
    }
  });

  it('takes each frame once, and its array may be used again for the next', async () => {
    const given = await decodeAll(files);
    const expected = await mergePixels(given);
    const shared = new Uint8Array(given[0].pixels.length);
    let taken = 0;
    async function* reusing(): AsyncGenerator<FramePixels> {
      for (const frame of given) {
        taken++;
        shared.set(frame.pixels);
        yield { ...frame, pixels: shared };
        shared.fill(0);
      }
    }
    expect(firstDifference((await mergePixels(reusing())).composite, expected.composite)).toBe(-1);
    expect(taken).toBe(given.length);
  });
});

describe('the scratch folder of a merge of pixels', () => {
  it('holds the frames while they are merged, and nothing afterwards', async () => {
    const scratch = makeFolder();
    const seen: string[] = [];
    await mergePixels(
      await decodeAll(files),
      { scratch, skip: [3] },
      {
        onEvent: (event) => {
          if (event.event !== 'stage' || event.stage !== 'focus') return;
          for (const name of readdirSync(scratch)) seen.push(...readdirSync(join(scratch, name)));
        },
      },
    );
    expect(seen.sort()).toEqual(['1.tif', '2.tif', '4.tif', '5.tif', '6.tif', '7.tif']);
    expect(readdirSync(scratch)).toEqual([]);
  });

  it('of a killed process goes with the next merge, and that of a living one stays', async () => {
    const scratch = makeFolder();
    const script = join(import.meta.dirname, 'fixtures/killed-pixels.ts');
    const { signal } = spawnSync(process.execPath, ['--import', 'tsx', script, scratch]);
    expect(signal).toBe('SIGKILL');
    const [left] = readdirSync(scratch);
    expect(readdirSync(join(scratch, left))).toEqual(['1.tif']);

    const given = await decodeAll(files);
    async function* beside(): AsyncGenerator<FramePixels> {
      yield given[0];
      const [own, ...others] = readdirSync(scratch);
      expect([own, others]).toEqual([expect.not.stringMatching(left), []]);
      await expect(mergePixels([], { scratch })).rejects.toThrow('Expected at least 2 frames');
      expect(readdirSync(scratch)).toEqual([own]);
      yield given[1];
    }
    await mergePixels(beside(), { scratch });
    expect(readdirSync(scratch)).toEqual([]);
  });

  it('is gone after a source that throws, whose error is handed on', async () => {
    const scratch = makeFolder();
    const given = await decodeAll(files);
    async function* failing(): AsyncGenerator<FramePixels> {
      yield given[0];
      yield given[1];
      throw new TypeError('the camera is gone');
    }
    await expect(mergePixels(failing(), { scratch })).rejects.toThrow(new TypeError('the camera is gone'));
    expect(readdirSync(scratch)).toEqual([]);
  });

  it.each(['list', 'focus'] as const)('is gone after a merge that was stopped in %s', async (stage) => {
    const scratch = makeFolder();
    const stop = new AbortController();
    const given = await decodeAll(files);
    let isClosed = false;
    async function* waiting(): AsyncGenerator<FramePixels> {
      try {
        yield* given;
        // Fires while the next frame is waited for, which never comes.
        if (stage === 'list') {
          stop.abort();
          yield await new Promise<FramePixels>(() => {});
        }
      } finally {
        isClosed = true;
      }
    }
    const onEvent = (event: { event: string; stage?: string }) => {
      if (stage === 'focus' && event.stage === 'focus') stop.abort();
    };
    const merging = mergePixels(waiting(), { scratch }, { onEvent, signal: stop.signal });
    await expect(merging).rejects.toBeInstanceOf(InterruptedError);
    expect(readdirSync(scratch)).toEqual([]);
    if (stage === 'focus') expect(isClosed).toBe(true);
  });

  it('that is not there is named', async () => {
    const scratch = join(makeFolder(), 'not-there');
    const merging = mergePixels(await decodeAll(files), { scratch });
    await expect(merging).rejects.toBeInstanceOf(OutputError);
    await expect(mergePixels([], { scratch })).rejects.toThrow(/not-there.*another scratch/);
  });
});

describe('frames that are no stack', () => {
  const grey = (side: number, pixels: FramePixels['pixels'] = new Uint8Array(side * side)): FramePixels => ({
    width: side,
    height: side,
    channels: 1,
    pixels,
  });

  it.each([
    ['another size', [grey(80), grey(81)], 'frames[1]', '81 x 81 pixels of 1 x 8 bits'],
    ['other bits', [grey(80), grey(80, new Uint16Array(6400))], 'frames[1]', '80 x 80 pixels of 1 x 16 bits'],
    ['too few samples', [grey(80, new Uint8Array(6399))], 'frames[0].pixels', '6399'],
    ['no width', [{ ...grey(80), width: 0 }], 'frames[0].width', '0'],
    ['two channels', [{ ...grey(80), channels: 2 }], 'frames[0].channels', '2'],
    ['floats', [{ ...grey(80), pixels: new Float32Array(6400) }], 'frames[0].pixels', 'Float32Array'],
  ])('are refused by name: %s', async (_, frames, option, received) => {
    const scratch = makeFolder();
    const error = await mergePixels(frames as FramePixels[], { scratch }).catch((reason: unknown) => reason);
    expect(error).toBeInstanceOf(UsageError);
    expect(error).toMatchObject({ option });
    expect((error as UsageError).message).toContain(`for ${option} but received ${received}`);
    expect(readdirSync(scratch)).toEqual([]);
  });

  it('are refused when they are too few, too small, or alike', async () => {
    await expect(mergePixels([])).rejects.toThrow(/at least 2 frames .* received 0/);
    await expect(mergePixels([grey(80)])).rejects.toBeInstanceOf(InputError);
    await expect(mergePixels([grey(8), grey(8)])).rejects.toThrow(/at least 64 x 64 pixels/);
    const [frame] = await decodeAll(files);
    await expect(mergePixels([frame, frame, frame])).rejects.toThrow(/all show the same picture/);
  });

  it('options that concern files are refused', async () => {
    const options = { format: 'png' } as object;
    await expect(mergePixels([], options)).rejects.toThrow('Expected no format: it concerns files');
    await expect(mergePixels([], { stepMm: -1 })).rejects.toMatchObject({ option: 'stepMm', value: -1 });
  });
});

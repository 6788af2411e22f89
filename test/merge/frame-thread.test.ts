import { readFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import sharp from 'sharp';
import { afterEach, expect, it, vi } from 'vitest';
import { InputError } from '../../src/errors.js';
import { merge } from '../../src/mend/merge.js';
import { FrameThread, frameThreadFrom } from '../../src/merge/frame-thread.js';
import { readStack } from '../../src/stack/read-stack.js';
import { type Files, placeStack, renderPlane } from './small-stack.js';

const { pixels, threads } = frameThreadFrom;
afterEach(() => {
  Object.assign(frameThreadFrom, { pixels, threads });
  vi.restoreAllMocks();
});

const size = { width: 120, height: 90 };
const renderFiles = async (): Promise<Files> =>
  (await renderPlane({ ...size, frames: 5, format: 'png' })).files;

/** The files with a pixel that is hot in all of them. */
async function withHotPixel(files: Files, x: number, y: number): Promise<Files> {
  const made = Object.entries(files).map(async ([name, file]): Promise<[string, Buffer]> => {
    const { data, info } = await sharp(file).raw({ depth: 'uchar' }).toBuffer({ resolveWithObject: true });
    data.fill(255, (y * info.width + x) * info.channels, (y * info.width + x + 1) * info.channels);
    const { width, height, channels } = info;
    return [name, await sharp(data, { raw: { width, height, channels } }).png().toBuffer()];
  });
  return Object.fromEntries(await Promise.all(made));
}

async function mergeFiles(files: Files, memoryMb?: number): Promise<Buffer[]> {
  const { frames, out } = placeStack(files);
  await merge(frames, { out, threads: 2, device: 'cpu', ...(memoryMb && { memoryMb }) });
  const names = ['composite.tif', 'depth.tif', 'sources.png', 'confidence.png', 'coverage.png'];
  return names.map((name) => readFileSync(join(out, name)));
}

it('a thread that puts frames in place makes the same bytes, hot pixels repaired, whether it keeps frames or not', async () => {
  const files = await withHotPixel(await renderFiles(), 61, 40);
  const place = vi.spyOn(FrameThread.prototype, 'place');
  const own = await mergeFiles(files);
  expect(place).not.toHaveBeenCalled();
  Object.assign(frameThreadFrom, { pixels: 0, threads: 2 });
  expect(await mergeFiles(files)).toEqual(own);
  expect(place).toHaveBeenCalledTimes(10);
  expect(place.mock.calls[0][2]).toEqual([{ x: 61, y: 40 }]);
  expect(await mergeFiles(files, 260)).toEqual(own);
});

it('a frame that is gone is named by the thread as by any other', async () => {
  const { frames } = await readStack(placeStack(await renderFiles()).frames);
  const thread = new FrameThread({ size, room: 0, atOnce: 1 });
  try {
    const gone = { ...frames[0], path: join(dirname(frames[0].path), 'gone.png'), name: 'gone.png' };
    await expect(thread.hold(gone, false)).rejects.toThrow(InputError);
    await expect(thread.hold(gone, false)).rejects.toThrow('gone.png');
    const whole = {
      from: 0,
      to: size.height,
      pixels: new Uint8Array(new SharedArrayBuffer(size.width * size.height * 3)),
    };
    await thread.hold(frames[0], true);
    await thread.place([whole], frames[0], []);
    const { data } = await sharp(frames[0].path).removeAlpha().raw().toBuffer({ resolveWithObject: true });
    expect(Buffer.compare(Buffer.from(whole.pixels), data)).toBe(0);
  } finally {
    await thread.close();
  }
});

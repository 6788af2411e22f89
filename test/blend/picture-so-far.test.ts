import { join } from 'node:path';
import sharp from 'sharp';
import { afterEach, expect, test, vi } from 'vitest';
import { type GrowingPicture, merge } from '../../src/index.js';
import { RunLog } from '../../src/merge/run-log.js';
import { placeStack, pngOf, renderPlane } from '../merge/small-stack.js';

afterEach(() => void vi.restoreAllMocks());

/** A picture at half its size by the taps of Burt & Adelson, of which only every other pixel is kept; 8-bit RGB. */
async function halved(file: Buffer | string): Promise<Uint8Array> {
  const taps = [1, 4, 6, 4, 1];
  const kernel = taps.flatMap((a) => taps.map((b) => a * b));
  const { data, info } = await sharp(file, { ignoreIcc: true })
    .toColourspace('srgb')
    .convolve({ width: 5, height: 5, kernel, scale: 256 })
    .raw({ depth: 'uchar' })
    .toBuffer({ resolveWithObject: true });
  const out = new Uint8Array((info.width / 2) * (info.height / 2) * 3);
  for (let y = 0, at = 0; y < info.height; y += 2) {
    for (let x = 0; x < info.width; x += 2, at += 3) {
      const from = (y * info.width + x) * info.channels;
      out.set(data.subarray(from, from + 3), at);
    }
  }
  return out;
}

function meanDifference(one: Uint8Array, other: Uint8Array): number {
  return one.reduce((sum, value, i) => sum + Math.abs(value - other[i]), 0) / one.length;
}

test('the picture grows towards the truth frame by frame, and ends as the composite made small', async () => {
  const scene = await renderPlane();
  const { frames, out } = placeStack(scene.files);
  const shown: GrowingPicture[] = [];
  // Every frame, however soon after the last.
  vi.spyOn(RunLog.prototype, 'showPicture').mockImplementation(async (make) => {
    shown.push((await make())!);
  });
  await merge(frames, { out, crop: 'anchor', format: 'png', threads: 1 }, {});
  expect(shown.map(({ done, frames: all, width, height }) => [done, all, width, height])).toEqual(
    [1, 2, 3, 4, 5, 6, 7].map((done) => [done, 7, 120, 90]),
  );
  const truth = await halved(await pngOf(scene.sharp));
  const errors = shown.map(({ pixels }) => meanDifference(pixels, truth));
  for (let k = 1; k < errors.length; k++) expect(errors[k]).toBeLessThan(errors[k - 1] + 0.1);
  expect(errors.at(-1)).toBeLessThan(errors[0] / 2);
  const composite = await halved(join(out, 'composite.png'));
  expect(meanDifference(shown.at(-1)!.pixels, composite)).toBeLessThan(1);
});

test('nothing of the result depends on whether somebody looks', async () => {
  const { files } = await renderPlane({ frames: 4, width: 96, height: 64 });
  const [seen, unseen] = [placeStack(files), placeStack(files)];
  let count = 0;
  await merge(seen.frames, { out: seen.out, format: 'png' }, { onPicture: () => count++ });
  await merge(unseen.frames, { out: unseen.out, format: 'png' }, {});
  expect(count).toBeGreaterThan(0);
  const pixels = ({ out }: { out: string }) => sharp(join(out, 'composite.png')).raw().toBuffer();
  expect((await pixels(seen)).equals(await pixels(unseen))).toBe(true);
});

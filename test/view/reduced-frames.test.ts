import { appendFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { expect, test } from 'vitest';
import { InterruptedError } from '../../src/errors.js';
import { mendFault } from '../../src/mend/check-mends.js';
import type { Mend } from '../../src/mend/mends-file.js';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { findStackFrames, type StackFrame } from '../../src/trace/stack-frames.js';
import { Gate, shareWork } from '../../src/view/gate.js';
import { readReduced } from '../../src/view/reduce.js';
import { ReducedFrames } from '../../src/view/reduced-frames.js';
import { Store } from '../../src/view/store.js';
import { Viewer } from '../../src/view/viewer.js';
import { makeResult, size } from '../mend/made-result.js';
import { temporaryFolder } from '../result/temporary-folder.js';

/** A smooth picture of odd size in a file of the kind that `ending` names. */
async function photograph(ending: string, bits: 8 | 16, width: number, height: number): Promise<StackFrame> {
  const most = 2 ** bits - 1;
  const samples = Float64Array.from({ length: width * height * 3 }, (_, i) => {
    const [x, y, channel] = [Math.floor(i / 3) % width, Math.floor(i / 3 / width), i % 3];
    return most * (0.5 + 0.4 * Math.sin(x / 23 + channel) * Math.cos(y / 31));
  });
  const pixels = bits === 8 ? Uint8Array.from(samples) : Uint16Array.from(samples);
  const picture = sharp(pixels, { raw: { width, height, channels: 3 } });
  if (bits === 16) picture.toColourspace('rgb16');
  const path = join(temporaryFolder(), `photograph.${ending}`);
  if (ending === 'jpg') await picture.jpeg({ quality: 98, chromaSubsampling: '4:4:4' }).toFile(path);
  else if (ending === 'png') await picture.png({ compressionLevel: 1 }).toFile(path);
  else await picture.tiff({ compression: 'lzw' }).toFile(path);
  return {
    number: 1,
    name: `photograph.${ending}`,
    folder: '',
    path,
    size: { width, height },
    toFrame: [1, 0, 0, 0, 1, 0, 0, 0, 1],
    gainRatio: [1, 1, 1],
    depth: 0,
    sha256: '',
  };
}

test.each([
  ['jpg', 8],
  ['png', 8],
  ['png', 16],
  ['tif', 16],
] as const)(
  'a %s of %i bits is reduced to what its full pixels average to, to its edges',
  async (ending, bits) => {
    const [width, height] = [1003, 709];
    const frame = await photograph(ending, bits, width, height);
    const store = await Store.open();
    try {
      const whole = await store.copy(frame.path!, 'colour');
      const frames = new ReducedFrames();
      for (const step of [16, 2, 4, 8]) {
        const { source, shrink } = await frames.read(frame, frame.path!, step, (work) => work());
        expect(step % shrink).toBe(0);
        const region = { x: 0, y: 0, width: Math.ceil(width / step), height: Math.ceil(height / step) };
        const got = readReduced(source, region, step / shrink, 'mean');
        const wanted = readReduced(whole, region, step, 'mean');
        const unit = source.bits === 16 ? 257 : 1;
        let worst = 0;
        got.forEach((value, i) => {
          worst = Math.max(worst, Math.abs(value - wanted[i]) / unit);
        });
        // A block that the picture fills in part only is continued from the one before it: off by a block's slope at most.
        expect(worst).toBeLessThan(((0.4 * 255) / 23) * step);
        let inside = 0;
        for (let y = 0; y < region.height - 1; y++) {
          for (let x = 0; x < region.width - 1; x++) {
            const i = (y * region.width + x) * 3;
            inside = Math.max(inside, Math.abs(got[i] - wanted[i]) / unit);
          }
        }
        // The scaled inverse DCT of a JPEG is the mean of a block but for its highest frequencies.
        expect(inside).toBeLessThan(5);
      }
      await whole.close();
    } finally {
      await store.close();
    }
  },
);

test('a frame is decoded once for the levels that one size serves, and again for finer ones only', async () => {
  const frame = await photograph('jpg', 8, 640, 480);
  const frames = new ReducedFrames();
  let decodings = 0;
  const read = (step: number) =>
    frames.read(frame, frame.path!, step, (work) => {
      decodings++;
      return work();
    });
  await Promise.all([read(16), read(8), read(16)]);
  expect(decodings).toBe(1);
  await read(4);
  await read(8);
  await read(32);
  expect(decodings).toBe(2);
});

test('a photograph of another size than at the merge is refused, and one that is none', async () => {
  const frame = await photograph('png', 8, 64, 48);
  const frames = new ReducedFrames();
  const other = { ...frame, size: { width: 32, height: 48 } };
  await expect(frames.read(other, frame.path!, 2, (work) => work())).rejects.toThrow(
    /has changed since the merge/,
  );
  writeFileSync(frame.path!, 'no picture');
  await expect(frames.read(frame, frame.path!, 2, (work) => work())).rejects.toThrow(
    /has changed since the merge/,
  );
});

test('work that nobody waits for any more is not begun, and the next who shares it begins it anew', async () => {
  const gate = new Gate(1);
  let free = () => {};
  const first = gate.pass(() => new Promise<void>((resolve) => (free = resolve)));
  const gone = new AbortController();
  let begun = 0;
  let shared: Promise<number> | undefined;
  const begin = (signal?: AbortSignal) => () => {
    shared ??= gate
      .pass(async () => ++begun, signal)
      .catch((error) => {
        shared = undefined;
        throw error;
      });
    return shared;
  };
  const left = shareWork(begin(gone.signal), gone.signal);
  const stays = shareWork(begin());
  gone.abort();
  free();
  await first;
  await expect(left).rejects.toThrow(InterruptedError);
  expect(await stays).toBe(1);
});

test('frames that a mend would be refused from are not offered, wherever the region lies', async () => {
  const { folder, frames: photographs } = await makeResult();
  const record = await readRunRecord(folder);
  const frames = await findStackFrames(record);
  const viewer = await Viewer.open(folder);
  const mendOf = (x: number, y: number, frame: number): Mend => ({
    id: 1,
    frame,
    region: { kind: 'rectangle', x, y, width: 20, height: 16 },
    featherPx: 4,
    note: '',
    kept: true,
  });
  const counts = new Set<number>();
  for (const x of [0, 2, 100, size.width - 22, size.width - 20]) {
    for (const y of [0, 3, 80, size.height - 18, size.height - 16]) {
      const accepted = [1, 2, 3].filter((n) => mendFault(mendOf(x, y, n), record, frames) === undefined);
      counts.add(accepted.length);
      const { region } = mendOf(x, y, 1);
      if (accepted.length === 0) {
        await expect(viewer.candidates(region)).rejects.toThrow(/No frame/);
        continue;
      }
      const { possible, frames: offered } = await viewer.candidates(region);
      expect(possible).toEqual(accepted);
      for (const { number } of offered) expect(accepted).toContain(number);
      for (const number of possible) await viewer.previewMends([mendOf(x, y, number)]);
    }
  }
  expect(counts.size).toBeGreaterThan(1);

  // One that has changed since the merge, of the same size or another.
  const middle = mendOf(100, 80, 1).region;
  expect((await viewer.candidates(middle)).possible).toEqual([1, 2, 3]);
  appendFileSync(join(photographs, 'f3.png'), 'x');
  expect((await viewer.candidates(middle)).possible).toEqual([1, 2]);
  const { frames: offered } = await viewer.candidates(middle);
  expect(offered.map(({ number }) => number)).not.toContain(3);
  await viewer.close();
});

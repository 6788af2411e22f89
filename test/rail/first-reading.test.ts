import { mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { renderScene } from '../../samples/render-scene.js';
import { check } from '../../src/check/check.js';
import { registerStack } from '../../src/merge/register-stack.js';
import { RunLog } from '../../src/merge/run-log.js';
import { resolveOptions } from '../../src/options/resolve-merge-options.js';
import { readFirst, readQuick } from '../../src/rail/first-reading.js';
import { motionPicture } from '../../src/rail/read-frame.js';
import { ReadingThread } from '../../src/rail/reading-thread.js';
import { type BrightnessTaker, StackReading } from '../../src/rail/stack-reading.js';
import { createMotionEstimator } from '../../src/register/motion-estimator.js';
import { decodeFrame } from '../../src/stack/decode.js';
import { KeptFrames } from '../../src/stack/kept-frames.js';
import { readStack } from '../../src/stack/read-stack.js';

const frames = 14;
let root: string;
let folder: string;

beforeAll(async () => {
  root = mkdtempSync(join(tmpdir(), 'lamella-reading-'));
  const size = { width: 320, height: 240, frames };
  await renderScene({ scene: 'tilted-plane', out: root, ...size, stepPart: 0.7, noise: 0, dust: 6 });
  folder = join(root, 'frames');
});
afterAll(() => rmSync(root, { recursive: true, force: true }));

test('a merge keeps that dust out of the search for focus which a check reports', async () => {
  const { findings } = await check(folder);
  const reported = findings.find(({ kind }) => kind === 'dust')?.spots ?? [];
  const stack = await readStack(folder, { skip: [] });
  const { evidence } = await registerStack(stack, resolveOptions({}), new KeptFrames(0), new RunLog({}));
  expect(reported.length).toBeGreaterThan(0);
  expect(evidence.dust.map(({ x, y }) => ({ x, y }))).toEqual(reported);
  // A speck blurred by its distance from the sensor is a few pixels wide.
  for (const { radius } of evidence.dust) expect(radius).toBeGreaterThanOrEqual(4);
});

test.each(['scale', 'similarity', 'shift', 'none'] as const)(
  'a merge moves frames to its anchor as an estimator of that model alone would: %s',
  async (motion) => {
    const stack = await readStack(folder, { skip: [] });
    const alone = createMotionEstimator({ motion, fullSize: stack.size });
    for (const frame of stack.frames) {
      alone.add(motionPicture(frame.number, await decodeFrame(frame)));
    }
    for (const anchor of [2, 'middle'] as const) {
      const options = resolveOptions({ motion, anchor });
      const registration = await registerStack(stack, options, new KeptFrames(0), new RunLog({}));
      expect(registration.motion).toEqual(alone.solve(anchor === 2 ? 2 : frames / 2));
    }
  },
);

test.each([undefined, 2] as const)(
  'two threads, beside this one or beside a thread of its own, gather the same evidence, whole frames or reduced (reduction %s)',
  async (shrink) => {
    const stack = await readStack(folder, { skip: [] });
    const gather = (reading: StackReading | ReadingThread) =>
      readFirst(stack, reading, {
        read: async (frame) => ({ reduced: await decodeFrame(frame, { shrink: reading.shrink }) }),
        wantMotion: () => ({ anchorNumber: 3, model: 'similarity' }),
      });
    const count = stack.frames.length;
    const brightnessOf = (taken: [number, Uint8Array][]): BrightnessTaker => ({
      wants: (index) => index % 3 === 1,
      take: (index, bytes) => void taken.push([index, bytes]),
    });
    const [takenHere, takenBeside]: [number, Uint8Array][][] = [[], []];
    const here = new StackReading(stack.size, count, { shrink, brightness: brightnessOf(takenHere) });
    const beside = new StackReading(stack.size, count, {
      shrink,
      threads: 2,
      brightness: brightnessOf(takenBeside),
    });
    const apart = new ReadingThread(stack.size, count, stack.frames[0], shrink, 2);
    try {
      const expected = await gather(here);
      expect(expected.motion.anchorNumber).toBe(3);
      expect(await gather(apart)).toEqual(expected);
      expect(await gather(beside)).toEqual(expected);
      expect(takenHere.map(([index]) => index)).toEqual([1, 4, 7, 10, 13]);
      expect(takenBeside).toEqual(takenHere);
    } finally {
      await Promise.all([apart.close(), beside.close()]);
    }
  },
);

test('a thread that ends early is told', async () => {
  const stack = await readStack(folder, { skip: [] });
  const reading = new ReadingThread(stack.size, stack.frames.length, stack.frames[0]);
  const { reduced } = await readQuick(stack.frames[0], new StackReading(stack.size, stack.frames.length));
  // Samples that are missing: the kernels refuse them.
  const broken = { ...reduced, pixels: reduced.pixels.subarray(0, 100) };
  await expect(
    (async () => {
      await reading.add(stack.frames[0], broken);
      await reading.finish(decodeFrame, undefined);
    })(),
  ).rejects.toThrow(/Expected 320 x 240 x 3 samples/);
  await reading.close();
});

test('each frame is handed on once, in order; what cannot be decoded is reported and left out', async () => {
  const stack = await readStack(folder, { skip: [] });
  const names = readdirSync(folder).sort();
  writeFileSync(join(folder, names[3]), 'no picture');
  const reading = new StackReading(stack.size, stack.frames.length);
  const taken: number[] = [];
  const refused: number[] = [];
  const progress: number[] = [];
  const { evidence, unreadable } = await readFirst(stack, reading, {
    read: (frame) => readQuick(frame, reading),
    onFrame: ({ number }) => void taken.push(number),
    onUnreadable: ({ number }) => refused.push(number),
    onProgress: (done) => progress.push(done),
  });
  const all = Array.from({ length: frames }, (_, k) => k + 1);
  expect(taken).toEqual(all.filter((number) => number !== 4));
  expect(refused).toEqual([4]);
  expect([...unreadable.keys()]).toEqual([4]);
  expect(progress).toEqual(all);
  expect(evidence.files.map(({ number }) => number)).toEqual(taken);
});

test('fewer than two frames that can be decoded are refused', async () => {
  const stack = await readStack(folder, { skip: [], frames: [1, 3] });
  const reading = new StackReading(stack.size, stack.frames.length);
  const read = (frame: (typeof stack.frames)[number]) =>
    frame.number === 1
      ? readQuick(frame, reading)
      : readQuick({ ...frame, path: join(root, 'missing.jpg') }, reading);
  await expect(readFirst(stack, reading, { read })).rejects.toThrow(
    /^Only 1 of 3 frames in .* can be read, where a stack needs at least two\. \S+\.jpg changed/,
  );
});

import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { setImmediate } from 'node:timers/promises';
import { beforeAll, describe, expect, it, onTestFinished, vi } from 'vitest';
import { merge } from '../../src/mend/merge.js';
import { keptFramesBytes, memoryNeedMb } from '../../src/merge/memory-need.js';
import * as decoding from '../../src/stack/decode.js';
import type { FrameFile } from '../../src/stack/frame.js';
import { feedFrames } from '../../src/stack/frame-feed.js';
import { KeptFrames } from '../../src/stack/kept-frames.js';
import { readStack } from '../../src/stack/read-stack.js';
import { type Files, placeStack, renderPlane } from './small-stack.js';

const size = { width: 96, height: 80 };
const frameBytes = size.width * size.height * 3;
let files: Files;
beforeAll(async () => {
  files = (await renderPlane({ ...size, frames: 4, format: 'png' })).files;
});

/** Merges with so much room for frames; returns the bytes of the pictures, and how often each frame was decoded. */
async function mergeKeeping(bytes: number): Promise<{ pictures: Buffer[]; times: number[] }> {
  const seen = new Map<number, Set<unknown>>();
  const { decode } = KeptFrames.prototype;
  const spy = vi.spyOn(KeptFrames.prototype, 'decode').mockImplementation(async function (
    this: KeptFrames,
    frame,
    ...others
  ) {
    if (seen.size === 0) Reflect.set(this, 'bytes', bytes);
    const pixelsOfFrame = seen.get(frame.number) ?? new Set();
    seen.set(frame.number, pixelsOfFrame);
    const decoded = await decode.call(this, frame, ...others);
    pixelsOfFrame.add(decoded.pixels);
    return decoded;
  });
  const { frames, out } = placeStack(files);
  await merge(frames, { out, threads: 1 });
  spy.mockRestore();
  const names = ['composite.tif', 'depth.tif', 'sources.png', 'confidence.png', 'coverage.png'];
  return {
    pictures: names.map((name) => readFileSync(join(out, name))),
    times: [...seen.values()].map(({ size }) => size),
  };
}

function frameFile(number: number): FrameFile {
  return {
    ...{ number, name: `${number}.png`, path: `/${number}.png`, format: 'png', sizeBytes: 1, modifiedMs: 0 },
    ...{ size, bits: 8, channels: 3, hasAlpha: false, orientation: 1, exif: {} },
  };
}

describe('frames that fit in memory', () => {
  it('are decoded once, the others each time, and the result is the same bytes', async () => {
    const all = await mergeKeeping(4 * frameBytes);
    expect(all.times).toEqual([1, 1, 1, 1]);
    const some = await mergeKeeping(2.5 * frameBytes);
    expect(some.times.filter((times) => times === 1)).toHaveLength(2);
    const none = await mergeKeeping(0);
    expect(Math.min(...none.times)).toBeGreaterThan(1);
    expect(some.pictures).toEqual(all.pictures);
    expect(none.pictures).toEqual(all.pictures);
  });

  it('are given back after their last use, which makes room for others', async () => {
    const { frames } = await readStack(placeStack(files).frames);
    const kept = new KeptFrames(1.5 * frameBytes);
    const first = await kept.decode(frames[0]);
    expect((await kept.decode(frames[0])).pixels).toBe(first.pixels);
    const second = await kept.decode(frames[1]);
    const again = await kept.decode(frames[1]);
    expect(again.pixels).not.toBe(second.pixels);
    expect(again.pixels).toEqual(second.pixels);
    expect((await kept.decode(frames[0], 3, true)).pixels).toBe(first.pixels);
    const third = await kept.decode(frames[2]);
    expect((await kept.decode(frames[2])).pixels).toBe(third.pixels);
  });

  it('are decoded ahead while there is room for them, each once, and further ones as room is made', async () => {
    const { frames } = await readStack(placeStack(files).frames);
    const wanted = await Promise.all(frames.map((frame) => decoding.decodeFrame(frame)));
    const decode = vi.spyOn(decoding, 'decodeFrame');
    onTestFinished(() => decode.mockRestore());
    const started = () => decode.mock.calls.map(([{ number }]) => number);
    const kept = new KeptFrames(2.5 * frameBytes, 2);
    kept.decodeAhead(frames);
    expect(started()).toEqual([1, 2]);
    const both = await Promise.all([kept.decode(frames[0]), kept.decode(frames[0])]);
    expect(both[0].pixels).toBe(both[1].pixels);
    expect(both[0].pixels).toEqual(wanted[0].pixels);
    expect(started()).toEqual([1, 2]);
    await kept.decode(frames[0], 3, true);
    expect(started()).toEqual([1, 2, 3]);
    expect((await kept.decode(frames[2])).pixels).toEqual(wanted[2].pixels);
    expect(started()).toEqual([1, 2, 3]);
    kept.close();
    await kept.decode(frames[1], 3, true);
    expect(started()).toEqual([1, 2, 3, 2]);
  });

  it('are decoded ahead by no one until it is known who does', async () => {
    const { frames } = await readStack(placeStack(files).frames);
    const decode = vi.spyOn(decoding, 'decodeFrame');
    onTestFinished(() => decode.mockRestore());
    const [apart, here] = [0, 1].map(() => new KeptFrames(4 * frameBytes, 4));
    for (const kept of [apart, here]) {
      kept.awaitSource();
      kept.decodeAhead(frames);
    }
    await setImmediate();
    expect(decode).not.toHaveBeenCalled();
    const source = { decode: vi.fn(), decodeAhead: vi.fn() };
    apart.useSource(source);
    expect(source.decodeAhead.mock.calls).toEqual([[frames]]);
    expect(decode).not.toHaveBeenCalled();
    here.useSource(undefined);
    expect(decode).toHaveBeenCalledTimes(4);
    here.close();
  });

  it.each([
    { name: 'where some fit', room: 8, stay: 4 },
    { name: 'where only those ahead fit', room: 4, stay: 0 },
  ])('are decoded by all threads in each pass, within the bound ($name)', async ({ room, stay }) => {
    const count = 20;
    const atOnce = 6;
    const pixels = new Uint8Array(frameBytes);
    const decode = vi.spyOn(decoding, 'decodeFrame').mockImplementation(async () => ({
      ...{ ...size, channels: 3, bits: 8, shrink: 1, pixels },
    }));
    onTestFinished(() => decode.mockRestore());
    const frames = Array.from({ length: count }, (_, i) => frameFile(i + 1));
    const kept = new KeptFrames((room + 0.5) * frameBytes, atOnce);
    for (const isLast of [false, true]) {
      decode.mockClear();
      kept.decodeAhead(frames);
      const given = new Set<number>();
      for await (const fed of feedFrames(frames, (frame) => kept.decode(frame, 3, isLast), 1)) {
        // What can begin while a frame is worked on begins.
        await setImmediate();
        const { number } = fed.item;
        given.add(number);
        const begun = decode.mock.calls.map(([frame]) => frame.number);
        const ready = frames.filter((frame) => begun.includes(frame.number) && !given.has(frame.number));
        // The pass itself asks for one of them.
        if (number > stay) expect(ready.length).toBeGreaterThanOrEqual(Math.min(atOnce - 1, count - number));
        const held: Map<number, unknown> = Reflect.get(kept, 'kept');
        expect(held.size).toBeLessThanOrEqual(room);
      }
      expect(decode).toHaveBeenCalledTimes(isLast ? count - stay : count);
    }
    expect(Reflect.get(kept, 'heldBytes')).toBe(0);
  });

  it('take what the bound leaves beside the need, by default half of the free memory, and never more than is free', () => {
    const load = { size: { width: 6000, height: 4000 }, bits: 8, frames: 40 } as const;
    const need = memoryNeedMb(load, 2);
    expect(keptFramesBytes(load, 2, need + 500, 64_000)).toBe(500e6);
    expect(keptFramesBytes(load, 2, need - 1, 64_000)).toBe(0);
    expect(keptFramesBytes(load, 2, undefined, 2 * need + 1000)).toBe(500e6);
    expect(keptFramesBytes(load, 2, 64_000, need + 100)).toBe(100e6);
  });
});

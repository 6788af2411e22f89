import { expect, it, vi } from 'vitest';
import type { Gpu } from '../../src/gpu/device.js';
import { GpuFrames } from '../../src/gpu/frames.js';
import type { PixelData } from '../../src/image/image.js';
import { seededRandom } from '../outside/seeded-random.js';
import { describeGpu } from './gpu-rig.js';

const size = { width: 37, height: 23 };
const samples = size.width * size.height * 3;
const frameBytes = Math.ceil(samples / 4) * 4;

function pixelsOf(seed: number): Uint8Array {
  const random = seededRandom(seed);
  return Uint8Array.from({ length: samples }, () => 256 * random());
}

async function sentBy(gpu: Gpu, frames: GpuFrames, number: number, pixels?: PixelData): Promise<Uint8Array> {
  if (pixels) (await frames.slotFor(number)).set(pixels);
  const { buffer } = frames.send(number);
  const read = new Uint8Array(samples);
  await gpu.readTable(buffer, read);
  frames.free(number);
  return read;
}

describeGpu('frames on the device', (rig) => {
  it('that are sent in advance stay as far as there is room, and may be replaced', async () => {
    const { gpu } = rig;
    const before = gpu.heldBytes;
    const frames = new GpuFrames(gpu, size, 8, 3 * frameBytes, 1 << 20);
    const pixels = [1, 2, 3, 4, 5, 6].map(pixelsOf);
    for (const number of [1, 2]) frames.sendAhead(number, { pixels: pixels[number - 1], channels: 3 });
    await vi.waitUntil(() => frames.has(2));
    await frames.endAhead([1, 2, 3, 4]);
    // Neither what was kept for the merge nor more than the room.
    expect(gpu.heldBytes).toBe(before + 3 * frameBytes);
    frames.sendAhead(5, { pixels: pixels[4], channels: 3 });
    expect([1, 2, 3, 4, 5].filter((number) => frames.has(number))).toEqual([1, 2]);
    expect(await sentBy(gpu, frames, 2)).toEqual(pixels[1]);
    expect(await sentBy(gpu, frames, 3, pixels[2])).toEqual(pixels[2]);
    expect(await sentBy(gpu, frames, 4, pixels[3])).toEqual(pixels[3]);
    expect(await sentBy(gpu, frames, 5, pixels[4])).toEqual(pixels[4]);
    expect([1, 2, 3, 4, 5].filter((number) => frames.has(number))).toEqual([1, 2, 3]);
    expect(await sentBy(gpu, frames, 3)).toEqual(pixels[2]);
    expect(await sentBy(gpu, frames, 1, pixels[5])).toEqual(pixels[5]);
    expect(await sentBy(gpu, frames, 1)).toEqual(pixels[5]);
  });

  it('are not kept where the merge needs all memory', async () => {
    const { gpu } = rig;
    const before = gpu.heldBytes;
    const tryTake = gpu.tryTake.bind(gpu);
    let taken = 0;
    gpu.tryTake = async (bytes) => (++taken > 2 ? undefined : tryTake(bytes));
    const frames = new GpuFrames(gpu, size, 8, 9 * frameBytes, 300 << 20);
    frames.sendAhead(1, { pixels: pixelsOf(1), channels: 3 });
    await vi.waitUntil(() => taken >= 3);
    await frames.endAhead([1, 2]);
    expect(frames.has(1)).toBe(false);
    expect(gpu.heldBytes).toBe(before);
    expect(await sentBy(gpu, frames, 2, pixelsOf(2))).toEqual(pixelsOf(2));
    expect(frames.has(2)).toBe(false);
    gpu.tryTake = tryTake;
  });
});

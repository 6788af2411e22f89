import { expect, it } from 'vitest';
import { Gpu } from '../../src/gpu/device.js';
import { GpuError } from '../../src/gpu/gpu-error.js';
import { finerRows } from '../../src/gpu/planes.js';
import { findDevices } from '../../src/merge/find-devices.js';
import { noise, worstDifference } from '../kernels/kernel-rig.js';
import { describeGpu, devices } from './gpu-rig.js';

describeGpu('a device', (rig) => {
  it('is told to be software', () => {
    expect(rig.gpu.isSoftware).toBe(true);
    expect(rig.gpu.name).toMatch(/swiftshader/i);
  });

  it('is listed, and not taken by itself where the processor plays it', async () => {
    const { devices: found, auto } = await findDevices();
    expect(found).toHaveLength(1);
    expect(found[0]).toMatchObject({ device: 'gpu:0', isSoftware: true });
    expect(found[0].name).toMatch(/swiftshader/i);
    expect(auto).toBe('cpu');
  });

  it.each(devices)('gives back what was put into memory, each plane (%s)', async (which) => {
    const gpu = rig[which];
    const pictures = [1, 2, 3].map((seed) => noise(301, 77, seed));
    const set = rig.store(gpu, pictures, 4);
    for (const [p, picture] of pictures.entries())
      expect(worstDifference(await rig.read(gpu, set, p), picture)).toBe(0);
    gpu.release(set);
  });

  it('gives back a plane that is larger than the parts that are read', async () => {
    const set = rig.gpu.takePlanes(3001, 2999, 1, 4);
    const words = Uint32Array.from({ length: set.bytes / 4 }, (_, i) => i);
    rig.gpu.writeTable(set.buffer, words);
    const stride = 3001 + 7;
    const found = new Uint32Array(stride * 2999);
    await rig.gpu.readPlane(set, 0, new Uint8Array(found.buffer), 4 * stride);
    let wrong = 0;
    for (let y = 0; y < 2999; y++) {
      for (let x = 0; x < stride; x++)
        if (found[y * stride + x] !== (x < 3001 ? y * set.rowWords + x : 0)) wrong++;
    }
    expect(wrong).toBe(0);
    rig.gpu.release(set);
  });

  it('takes no more memory to read by than what is read at once', async () => {
    const { gpu } = rig;
    const tables = [100, 5000, 300_000, 7].map((words, seed) =>
      gpu.takeTable(Uint32Array.from({ length: words }, (_, i) => 31 * i + seed)),
    );
    const back = tables.map(({ size }) => new Uint32Array(size / 4));
    await Promise.all(tables.map((table, i) => gpu.readTable(table, new Uint8Array(back[i].buffer))));
    for (const [seed, words] of back.entries()) expect(words).toEqual(words.map((_, i) => 31 * i + seed));
    const buffers: GPUBuffer[] = Reflect.get(gpu, 'readBuffers');
    // The large plane was read by two parts, of 32 MiB and of the rest.
    const [largest, second, ...others] = buffers.map(({ size }) => size).sort((one, other) => other - one);
    expect(largest).toBe(32 << 20);
    expect(second).toBe(4 << 20);
    for (const size of others) expect(size).toBeLessThanOrEqual(2 << 20);
    gpu.release(...tables);
  });

  it('takes memory that threads share', async () => {
    const shared = new Uint8Array(new SharedArrayBuffer(1000)).map((_, i) => i % 251);
    const table = rig.gpu.takeTable(shared);
    const back = new Uint8Array(new SharedArrayBuffer(1000));
    await rig.gpu.readTable(table, back);
    expect([...back]).toEqual([...shared]);
  });

  it('starts with planes of zeros', async () => {
    const set = rig.gpu.takePlanes(50, 20, 2, 2);
    const plane = await rig.read(rig.gpu, set, 1);
    expect(plane.data.every((value) => value === 0)).toBe(true);
  });

  it('refuses a number that no device has, and says which there are', async () => {
    const refused = Gpu.open({ index: 7 });
    await expect(refused).rejects.toThrow(GpuError);
    await expect(refused).rejects.toThrow(/no graphics processor 7 \(there are: 0 SwiftShader/);
  });

  it('tells of memory that it does not have, and of work after its end', async () => {
    const gpu = await Gpu.open();
    expect(() => gpu.takeTable(2 ** 40)).toThrow(/MiB at most/);
    const fine = gpu.takePlanes(64, 64, 1, 4);
    const coarse = gpu.takePlanes(32, 32, 1, 4);
    gpu.close();
    gpu.run('reduce', {}, { fine: { set: fine, rows: finerRows(2) }, coarse }, { width: 32, height: 32 });
    await expect(gpu.readTable(coarse.buffer, new Uint8Array(4))).rejects.toThrow(GpuError);
  });
});

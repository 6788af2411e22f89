import { existsSync } from 'node:fs';
import { afterAll, beforeAll, describe } from 'vitest';
import { Gpu } from '../../src/gpu/device.js';
import type { GpuPlanes } from '../../src/gpu/planes.js';
import { at, type Plane, pictureOf } from '../kernels/kernel-rig.js';

/** The software driver that comes with Debian's chromium: the processor plays a graphics processor. */
export const softwareDriver = '/usr/lib/chromium/vk_swiftshader_icd.json';
const loaders = ['/usr/lib/x86_64-linux-gnu/libvulkan.so.1', '/usr/lib/aarch64-linux-gnu/libvulkan.so.1'];

/** Why there is no device for tests here, or nothing. */
function missing(): string | undefined {
  if (!existsSync(softwareDriver))
    return 'chromium, whose software driver stands in for a graphics processor';
  if (!loaders.some(existsSync)) return 'libvulkan1';
  if (!existsSync(new URL('../../node_modules/webgpu', import.meta.url))) return 'the package webgpu';
  return undefined;
}

/** Arrays of elements by their bytes. */
type Kinds = Readonly<
  Record<
    1 | 2 | 4,
    Uint8ArrayConstructor | Uint16ArrayConstructor | Uint32ArrayConstructor | Float32ArrayConstructor
  >
>;

interface RigWish {
  /** Largest binding of the device that works by bands; default 64 KiB. */
  bandBytes?: number;
}

/** Tests on the software driver; skipped, by the name of what is missing, where there is none. */
export function describeGpu(name: string, tests: (rig: GpuRig) => void, wish: RigWish = {}): void {
  const absent = missing();
  if (absent) {
    describe.skip(`${name} (needs ${absent})`, () => tests(new GpuRig(wish)));
    return;
  }
  describe(name, () => {
    const rig = new GpuRig(wish);
    beforeAll(() => rig.open());
    afterAll(() => rig.close());
    tests(rig);
  });
}

/**
 * One device, as compiling its kernels takes seconds: as `gpu` without bounds, as `banded` with bindings so small that
 * pictures of tests are worked on by bands of rows. A test takes one of the two at a time.
 */
export class GpuRig {
  private device!: Gpu;
  private most = 0;

  constructor(private readonly wish: RigWish) {}

  async open(): Promise<void> {
    process.env.VK_ICD_FILENAMES = softwareDriver;
    this.device = await Gpu.open();
    this.most = this.device.maxBindingBytes;
  }

  get gpu(): Gpu {
    this.device.maxBindingBytes = this.most;
    return this.device;
  }

  get banded(): Gpu {
    this.device.maxBindingBytes = this.wish.bandBytes ?? 1 << 16;
    return this.device;
  }

  close(): void {
    this.device?.close();
  }

  /** Float planes (4 bytes) or planes of whole numbers (2 and 1) with these contents. */
  store(gpu: Gpu, pictures: readonly Plane[], elementBytes: 1 | 2 | 4): GpuPlanes {
    return this.place(gpu, pictures, elementBytes, { 1: Uint8Array, 2: Uint16Array, 4: Float32Array });
  }

  /** Planes of whole numbers of 32 bits. */
  storeWords(gpu: Gpu, pictures: readonly Plane[]): GpuPlanes {
    return this.place(gpu, pictures, 4, { 1: Uint8Array, 2: Uint16Array, 4: Uint32Array });
  }

  private place(gpu: Gpu, pictures: readonly Plane[], elementBytes: 1 | 2 | 4, kinds: Kinds): GpuPlanes {
    const { width, height } = pictures[0];
    const set = gpu.takePlanes(width, height, pictures.length, elementBytes);
    const row = set.planeWords * 4;
    const bytes = new ArrayBuffer(set.bytes);
    pictures.forEach((picture, p) => {
      for (let y = 0; y < height; y++) {
        const start = (y * set.rowWords + p * set.planeWords) * 4;
        const elements = new kinds[elementBytes](bytes, start, row / elementBytes);
        for (let x = 0; x < width; x++) elements[x] = at(picture, x, y);
      }
    });
    gpu.writeTable(set.buffer, new Uint8Array(bytes));
    return set;
  }

  /** A frame as it is decoded. */
  storeFrame(gpu: Gpu, samples: Uint8Array | Uint16Array, width: number, height: number): GpuPlanes {
    const frame = gpu.takeFrame(width, height, samples instanceof Uint8Array ? 8 : 16);
    gpu.writeTable(frame.buffer, samples);
    return frame;
  }

  async read(gpu: Gpu, set: GpuPlanes, plane = 0): Promise<Plane> {
    return this.fetch(gpu, set, plane, { 1: Uint8Array, 2: Uint16Array, 4: Float32Array });
  }

  /** A plane of whole numbers of 32 bits. */
  async readWords(gpu: Gpu, set: GpuPlanes, plane = 0): Promise<Plane> {
    return this.fetch(gpu, set, plane, { 1: Uint8Array, 2: Uint16Array, 4: Uint32Array });
  }

  private async fetch(gpu: Gpu, set: GpuPlanes, plane: number, kinds: Kinds): Promise<Plane> {
    const { width, height, elementBytes } = set;
    const elements = new kinds[elementBytes](width * height);
    await gpu.readPlane(set, plane, new Uint8Array(elements.buffer), width * elementBytes);
    return pictureOf(width, height, (x, y) => elements[y * width + x]);
  }
}

/** Both devices of a rig by name, for `it.each`. */
export const devices = ['gpu', 'banded'] as const;

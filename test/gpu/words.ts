import type { Gpu } from '../../src/gpu/device.js';
import type { GpuPlanes } from '../../src/gpu/planes.js';
import { type Plane, pictureOf } from '../kernels/kernel-rig.js';

/** The words of a set of one plane. */
export async function readWords(gpu: Gpu, set: GpuPlanes): Promise<Plane> {
  const { width, height } = set;
  const words = new Uint32Array(width * height);
  await gpu.readPlane(set, 0, new Uint8Array(words.buffer), 4 * width);
  return pictureOf(width, height, (x, y) => words[y * width + x]);
}

/** The low halves of words. */
export function lowHalf({ width, height, data }: Plane): Plane {
  return pictureOf(width, height, (x, y) => data[y * width + x] % 65536);
}

export function highHalf({ width, height, data }: Plane): Plane {
  return pictureOf(width, height, (x, y) => Math.floor(data[y * width + x] / 65536));
}

/** Words of two planes of 16 bits. */
export function joinHalves(low: Plane, high: Plane): Plane {
  const { width, height } = low;
  return pictureOf(width, height, (x, y) => low.data[y * width + x] + 65536 * high.data[y * width + x]);
}

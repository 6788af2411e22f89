import { GpuError } from '../gpu/gpu-error.js';
import { listAdapters, mayHaveGpu } from '../gpu/webgpu.js';

/** A graphics processor as `lamella devices` lists it. */
export interface FoundDevice {
  /** The value of `device` that takes it. */
  device: `gpu:${number}`;
  name: string;
  /** Devices of this name; the first of them is taken. */
  count: number;
  /** Largest buffer, MiB. */
  maxBufferMib: number;
  /** The processor emulates it: of use for tests alone. */
  isSoftware: boolean;
}

/** The graphics processors of a machine. */
export interface FoundDevices {
  devices: FoundDevice[];
  /** Why there is none, a clause. */
  missing?: string;
  /** What a merge takes by itself. */
  auto: 'cpu' | `gpu:${number}`;
}

/**
 * The graphics processors of this machine that can merge.
 *
 * @returns None, and why, where the package `webgpu` is missing or no driver offers one; it never rejects for that.
 */
export async function findDevices(): Promise<FoundDevices> {
  try {
    const devices = (await listAdapters()).map(
      ({ info: { index, name, count, isSoftware }, adapter }): FoundDevice => ({
        device: `gpu:${index}`,
        name,
        count,
        maxBufferMib: Math.floor(adapter.limits.maxBufferSize / 2 ** 20),
        isSoftware,
      }),
    );
    const usable = mayHaveGpu() ? devices.find(({ isSoftware }) => !isSoftware) : undefined;
    return {
      devices,
      ...(devices.length === 0 && { missing: 'no driver offers one (Vulkan, Metal or Direct3D 12)' }),
      auto: usable?.device ?? 'cpu',
    };
  } catch (error) {
    if (!(error instanceof GpuError)) throw error;
    return { devices: [], missing: error.message, auto: 'cpu' };
  }
}

import { SystemError } from '../errors.js';
import { Gpu } from '../gpu/device.js';
import { GpuError } from '../gpu/gpu-error.js';
import { mayHaveGpu } from '../gpu/webgpu.js';
import { optionName } from '../option-names.js';
import type { MergeOptions } from '../options/merge-options.js';
import type { RunLog } from './run-log.js';

/**
 * The graphics processor that a merge is to run on, whose kernels are being compiled; undefined: the processor merges.
 *
 * @throws SystemError where one is asked for and there is none, unless the merge is unattended: then that is a warning.
 */
export async function openMergeDevice(device: MergeOptions['device'], log: RunLog): Promise<Gpu | undefined> {
  if (device === 'cpu' || (device === 'auto' && !mayHaveGpu())) return undefined;
  const [, index] = device.split(':');
  try {
    const gpu = await Gpu.open(index === undefined ? {} : { index: Number(index) });
    // The processor itself is faster than its imitation of a graphics processor.
    if (device === 'auto' && gpu.isSoftware) {
      gpu.close();
      return undefined;
    }
    // Awaited by the engine, which tells what fails.
    gpu.compileAll().catch(() => {});
    return gpu;
  } catch (error) {
    if (!(error instanceof GpuError)) throw error;
    if (device === 'auto') return undefined;
    if (log.isUnattended) {
      log.warn(`The processor merges, for ${error.message}.`);
      return undefined;
    }
    throw new SystemError(
      'graphics',
      `${optionName('device')} asks for a graphics processor, but ${error.message}. Without ${optionName('device')} the processor merges.`,
      { cause: error },
    );
  }
}

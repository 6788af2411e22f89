import type { Gpu } from '../../src/gpu/device.js';
import type { GpuPlanes } from '../../src/gpu/planes.js';
import { names, type State } from '../kernels/focus-state.js';
import type { GpuRig } from './gpu-rig.js';

/** Planes of the coarser levels: the last two of a state are kept at level 0 alone. */
const coarsePlanes = names.slice(0, 9);

/** The state of each level, finest first, in the device's memory. */
export function placeStates(rig: GpuRig, gpu: Gpu, states: readonly State[]): GpuPlanes[] {
  return states.map((state, level) =>
    rig.store(
      gpu,
      (level === 0 ? names : coarsePlanes).map((name) => state[name]),
      2,
    ),
  );
}

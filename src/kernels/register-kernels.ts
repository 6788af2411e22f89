import type { Arena } from './arena.js';
import { directKernels } from './direct-kernels.js';

/** The kernels of registration, which the thread that measures a frame runs at once; see `assembly/register.ts`. */
export type RegisterKernels = ReturnType<typeof registerKernels>;

/** The kernels over an arena's memory. */
export function registerKernels(arena: Pick<Arena, 'memory'>) {
  return directKernels(arena, [
    'bandStrip',
    'clampStrip',
    'crossTiles',
    'lightStrip',
    'momentTiles',
    'softenStrip',
  ]);
}

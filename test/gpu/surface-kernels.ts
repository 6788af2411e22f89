import type { GpuKernelName } from '../../src/gpu/programs.js';

/** Kernels that gpu/surface.ts runs. */
export const surfaceKernels: readonly GpuKernelName[] = [
  ...(['markTruncated', 'peak', 'markFalseRims', 'dropFalseRims', 'markLeaks'] as const),
  ...(['gather', 'aggregate', 'coarseIndices', 'label', 'decide'] as const),
  ...(['smooth', 'push', 'pull', 'judge', 'storeIndices'] as const),
];

// Written by generate-programs.js from the declarations in wgsl/. Do not edit.

/** What each kernel is called with: sets in the order of its uniforms, bindings in their order, numbers in theirs. */
export const gpuKernels = {
  reduce: {
    sets: ['fine', 'coarse'],
    bindings: {
      fine: { kind: 'set', access: 'read' },
      coarse: { kind: 'set', access: 'read_write' },
    },
    numbers: {
    },
  },
} as const;

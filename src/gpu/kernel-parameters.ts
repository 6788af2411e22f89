// Written by generate-programs.js from the declarations in wgsl/. Do not edit.

/** What each kernel is called with: sets in the order of its uniforms, bindings in their order, numbers in theirs. */
export const gpuKernels = {
  halveIndices: {
    sets: ['fine', 'out'],
    bindings: {
      fine: { kind: 'set', access: 'read' },
      out: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      nearSign: 'i32',
      nearApart: 'i32',
    },
  },
  plan: {
    sets: ['surface', 'full', 'fronts', 'peaks', 'spans', 'out', 'sources'],
    bindings: {
      surface: { kind: 'set', access: 'read' },
      full: { kind: 'set', access: 'read' },
      fronts: { kind: 'set', access: 'read' },
      peaks: { kind: 'set', access: 'read' },
      spans: { kind: 'set', access: 'read' },
      out: { kind: 'set', access: 'read_write' },
      sources: { kind: 'set', access: 'read_write' },
      uses: { kind: 'table', access: 'read_write' },
    },
    numbers: {
      surfacePlane: 'i32',
      hasPeaks: 'i32',
      fullWeight: 'i32',
      frontApart: 'i32',
      sameIndex: 'i32',
      nearSign: 'i32',
      level: 'i32',
      rule: 'i32',
      fractionBits: 'i32',
      count: 'i32',
      useWords: 'i32',
      tileRows: 'i32',
    },
  },
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

// Written by generate-programs.js from the declarations in wgsl/. Do not edit.

/** What each kernel is called with: sets in the order of its uniforms, bindings in their order, numbers in theirs. */
export const gpuKernels = {
  accumulate: {
    sets: ['picture', 'coarse', 'plan', 'spans', 'sums'],
    bindings: {
      picture: { kind: 'set', access: 'read' },
      coarse: { kind: 'set', access: 'read' },
      plan: { kind: 'set', access: 'read' },
      spans: { kind: 'set', access: 'read' },
      sums: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      ordinal: 'i32',
      fractionBits: 'i32',
      hasCoarse: 'i32',
    },
  },
  aggregate: {
    sets: ['state', 'coarse', 'supports', 'averaged'],
    bindings: {
      state: { kind: 'set', access: 'read' },
      coarse: { kind: 'set', access: 'read' },
      supports: { kind: 'set', access: 'read' },
      averaged: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      count: 'i32',
      hole: 'i32',
      reach: 'i32',
    },
  },
  blendFinest: {
    sets: ['frame', 'coarse', 'plan', 'spans', 'sums'],
    bindings: {
      frame: { kind: 'set', access: 'read' },
      coarse: { kind: 'set', access: 'read' },
      plan: { kind: 'set', access: 'read' },
      spans: { kind: 'set', access: 'read' },
      uses: { kind: 'table', access: 'read' },
      taps: { kind: 'table', access: 'read' },
      sums: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      toSource: 'Affine',
      gain: 'vec4f',
      bits: 'i32',
      ordinal: 'i32',
      fractionBits: 'i32',
      lost: 'f32',
      useWords: 'i32',
      tileRows: 'i32',
    },
  },
  coarseIndices: {
    sets: ['state', 'coarse', 'indices'],
    bindings: {
      state: { kind: 'set', access: 'read' },
      coarse: { kind: 'set', access: 'read' },
      indices: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      levels: 'i32',
      apart: 'i32',
    },
  },
  collapse: {
    sets: ['coarse', 'sums'],
    bindings: {
      coarse: { kind: 'set', access: 'read' },
      sums: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      hasCoarse: 'i32',
    },
  },
  countNoise: {
    sets: ['codes', 'luma'],
    bindings: {
      codes: { kind: 'set', access: 'read' },
      luma: { kind: 'set', access: 'read' },
      counts: { kind: 'table', access: 'read_write' },
    },
    numbers: {
      level: 'i32',
      edge: 'i32',
      every: 'i32',
    },
  },
  decide: {
    sets: ['state', 'level1', 'level2', 'labels', 'supports', 'decided'],
    bindings: {
      state: { kind: 'set', access: 'read' },
      level1: { kind: 'set', access: 'read' },
      level2: { kind: 'set', access: 'read' },
      labels: { kind: 'set', access: 'read' },
      supports: { kind: 'set', access: 'read_write' },
      decided: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      levels: 'i32',
      nearSign: 'i32',
      same: 'i32',
    },
  },
  dropFalseRims: {
    sets: ['peaks', 'marks'],
    bindings: {
      peaks: { kind: 'set', access: 'read_write' },
      marks: { kind: 'set', access: 'read' },
    },
    numbers: {
      shift: 'i32',
      apart: 'i32',
    },
  },
  encode: {
    sets: ['picture'],
    bindings: {
      picture: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      curve: 'vec4f',
    },
  },
  enlarge: {
    sets: ['coarse', 'picks', 'surface'],
    bindings: {
      coarse: { kind: 'set', access: 'read' },
      picks: { kind: 'set', access: 'read' },
      surface: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      same: 'i32',
      fractionBits: 'i32',
    },
  },
  gather: {
    sets: ['state', 'coarse', 'supports'],
    bindings: {
      state: { kind: 'set', access: 'read' },
      coarse: { kind: 'set', access: 'read' },
      supports: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      count: 'i32',
      same: 'i32',
    },
  },
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
  halveOneSided: {
    sets: ['indices', 'marks', 'state'],
    bindings: {
      indices: { kind: 'set', access: 'read' },
      marks: { kind: 'set', access: 'read' },
      state: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      same: 'i32',
    },
  },
  judge: {
    sets: ['state', 'surface', 'spans', 'confidence', 'coverage'],
    bindings: {
      state: { kind: 'set', access: 'read' },
      surface: { kind: 'set', access: 'read' },
      spans: { kind: 'set', access: 'read' },
      confidence: { kind: 'set', access: 'read_write' },
      coverage: { kind: 'set', access: 'read_write' },
      reaches: { kind: 'table', access: 'read' },
    },
    numbers: {
      frames: 'i32',
      fullWeight: 'i32',
      fractionBits: 'i32',
    },
  },
  label: {
    sets: ['state', 'coarse', 'coarseIndices', 'supports', 'labels'],
    bindings: {
      state: { kind: 'set', access: 'read' },
      coarse: { kind: 'set', access: 'read' },
      coarseIndices: { kind: 'set', access: 'read' },
      supports: { kind: 'set', access: 'read' },
      labels: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      count: 'i32',
    },
  },
  lowNoise: {
    sets: [],
    bindings: {
      counts: { kind: 'table', access: 'read_write' },
      low: { kind: 'table', access: 'read_write' },
    },
    numbers: {
      least: 'u32',
      place: 'u32',
    },
  },
  luma: {
    sets: ['frame', 'luma', 'measures'],
    bindings: {
      frame: { kind: 'set', access: 'read' },
      luma: { kind: 'set', access: 'read_write' },
      measures: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      bits: 'i32',
    },
  },
  lumaCodes: {
    sets: ['luma', 'measures'],
    bindings: {
      luma: { kind: 'set', access: 'read' },
      measures: { kind: 'set', access: 'read_write' },
    },
    numbers: {
    },
  },
  mapDepth: {
    sets: ['marks', 'state', 'indices'],
    bindings: {
      marks: { kind: 'set', access: 'read' },
      state: { kind: 'set', access: 'read_write' },
      indices: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      nearSign: 'i32',
      same: 'i32',
    },
  },
  markDepthEdges: {
    sets: ['surface', 'state', 'marks'],
    bindings: {
      surface: { kind: 'set', access: 'read' },
      state: { kind: 'set', access: 'read' },
      marks: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      nearSign: 'i32',
      same: 'i32',
      leastEnergy: 'i32',
    },
  },
  markFalseRims: {
    sets: ['peaks', 'fine', 'marks'],
    bindings: {
      peaks: { kind: 'set', access: 'read' },
      fine: { kind: 'set', access: 'read' },
      marks: { kind: 'set', access: 'read_write' },
      spiral: { kind: 'table', access: 'read' },
    },
    numbers: {
      pitch: 'f32',
      fineShift: 'i32',
      blurPx: 'f32',
      frames: 'i32',
      samples: 'i32',
      widestPx: 'f32',
      fractionBits: 'i32',
    },
  },
  markLeaks: {
    sets: ['peaks', 'fine'],
    bindings: {
      peaks: { kind: 'set', access: 'read_write' },
      fine: { kind: 'set', access: 'read' },
    },
    numbers: {
      same: 'i32',
    },
  },
  markTruncated: {
    sets: ['state', 'spans'],
    bindings: {
      state: { kind: 'set', access: 'read_write' },
      spans: { kind: 'set', access: 'read' },
    },
    numbers: {
      frames: 'i32',
    },
  },
  measure: {
    sets: ['luma', 'measures'],
    bindings: {
      luma: { kind: 'set', access: 'read' },
      measures: { kind: 'set', access: 'read_write' },
      discs: { kind: 'table', access: 'read' },
    },
    numbers: {
      discCount: 'i32',
    },
  },
  mergeSpillCells: {
    sets: ['fine', 'out'],
    bindings: {
      fine: { kind: 'set', access: 'read' },
      out: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      gap: 'i32',
      nearSign: 'i32',
    },
  },
  noteLight: {
    sets: ['frame', 'state', 'lights'],
    bindings: {
      frame: { kind: 'set', access: 'read' },
      state: { kind: 'set', access: 'read' },
      lights: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      toFrame: 'Affine',
      gain: 'vec4f',
      curve: 'vec4f',
      bits: 'i32',
      ordinal: 'i32',
    },
  },
  peak: {
    sets: ['state', 'full'],
    bindings: {
      state: { kind: 'set', access: 'read_write' },
      full: { kind: 'set', access: 'read' },
      noise: { kind: 'table', access: 'read' },
      errors: { kind: 'table', access: 'read' },
      steps: { kind: 'table', access: 'read' },
    },
    numbers: {
      level: 'i32',
      nearSign: 'i32',
      unit: 'f32',
      fall: 'f32',
      fractionBits: 'i32',
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
  pull: {
    sets: ['fine', 'coarse'],
    bindings: {
      fine: { kind: 'set', access: 'read_write' },
      coarse: { kind: 'set', access: 'read' },
    },
    numbers: {
      fullWeight: 'i32',
    },
  },
  push: {
    sets: ['fine', 'coarse'],
    bindings: {
      fine: { kind: 'set', access: 'read' },
      coarse: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      fullWeight: 'i32',
    },
  },
  quantise: {
    sets: ['picture', 'out'],
    bindings: {
      picture: { kind: 'set', access: 'read' },
      out: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      bits: 'i32',
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
  reduceFrame: {
    sets: ['frame', 'out'],
    bindings: {
      frame: { kind: 'set', access: 'read' },
      out: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      gain: 'vec4f',
      curve: 'vec4f',
      bits: 'i32',
    },
  },
  sampleCurves: {
    sets: ['state', 'grid'],
    bindings: {
      state: { kind: 'set', access: 'read' },
      grid: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      every: 'i32',
    },
  },
  siteEdges: {
    sets: ['state', 'full', 'edges'],
    bindings: {
      state: { kind: 'set', access: 'read' },
      full: { kind: 'set', access: 'read' },
      edges: { kind: 'set', access: 'read_write' },
      noise: { kind: 'table', access: 'read' },
    },
    numbers: {
      level: 'i32',
      apart: 'i32',
      pitch: 'i32',
    },
  },
  siteVotes: {
    sets: ['state', 'full'],
    bindings: {
      state: { kind: 'set', access: 'read' },
      full: { kind: 'set', access: 'read' },
      noise: { kind: 'table', access: 'read' },
      places: { kind: 'table', access: 'read' },
      votes: { kind: 'table', access: 'read_write' },
    },
    numbers: {
      level: 'i32',
      frames: 'i32',
      apart: 'i32',
    },
  },
  smooth: {
    sets: ['surface', 'smoothed'],
    bindings: {
      surface: { kind: 'set', access: 'read' },
      smoothed: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      hole: 'i32',
      strictness: 'f32',
    },
  },
  spill: {
    sets: ['surface', 'cells0', 'cells1', 'cells2', 'cells3', 'cells4', 'reaches', 'out'],
    bindings: {
      surface: { kind: 'set', access: 'read' },
      cells0: { kind: 'set', access: 'read' },
      cells1: { kind: 'set', access: 'read' },
      cells2: { kind: 'set', access: 'read' },
      cells3: { kind: 'set', access: 'read' },
      cells4: { kind: 'set', access: 'read' },
      reaches: { kind: 'set', access: 'read' },
      samples: { kind: 'table', access: 'read' },
      out: { kind: 'set', access: 'read_write' },
      count: { kind: 'table', access: 'read_write' },
    },
    numbers: {
      leastWeight: 'i32',
      sampleCount: 'i32',
      blur: 'f32',
      gap: 'i32',
      nearSign: 'i32',
      fractionBits: 'i32',
      plainShare: 'u32',
    },
  },
  spillBlocks: {
    sets: ['cells', 'out'],
    bindings: {
      cells: { kind: 'set', access: 'read' },
      out: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      nearSign: 'i32',
    },
  },
  spillCells: {
    sets: ['surface', 'lights', 'out'],
    bindings: {
      surface: { kind: 'set', access: 'read' },
      lights: { kind: 'set', access: 'read' },
      out: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      leastWeight: 'i32',
      gap: 'i32',
      nearSign: 'i32',
    },
  },
  spillReaches: {
    sets: ['blocks', 'out'],
    bindings: {
      blocks: { kind: 'set', access: 'read' },
      out: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      gap: 'i32',
      pxPerUnit: 'f32',
      maxReachPx: 'f32',
    },
  },
  storeIndices: {
    sets: ['surface', 'indices'],
    bindings: {
      surface: { kind: 'set', access: 'read' },
      indices: { kind: 'set', access: 'read_write' },
    },
    numbers: {
    },
  },
  storeSurface: {
    sets: ['state', 'level1', 'level2', 'level3', 'decided', 'surface'],
    bindings: {
      state: { kind: 'set', access: 'read_write' },
      level1: { kind: 'set', access: 'read' },
      level2: { kind: 'set', access: 'read' },
      level3: { kind: 'set', access: 'read' },
      decided: { kind: 'set', access: 'read' },
      surface: { kind: 'set', access: 'read_write' },
      known: { kind: 'table', access: 'read_write' },
    },
    numbers: {
      levels: 'i32',
      frames: 'i32',
      same: 'i32',
      refined: 'f32',
      fractionBits: 'i32',
    },
  },
  subtractSpill: {
    sets: ['spills', 'picture'],
    bindings: {
      spills: { kind: 'set', access: 'read' },
      picture: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      curve: 'vec4f',
      ordinal: 'i32',
      fractionBits: 'i32',
    },
  },
  track: {
    sets: ['codes', 'luma', 'state', 'full'],
    bindings: {
      codes: { kind: 'set', access: 'read' },
      luma: { kind: 'set', access: 'read' },
      state: { kind: 'set', access: 'read_write' },
      full: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      toFrame: 'Affine',
      toFullFrame: 'Affine',
      level: 'i32',
      margin: 'i32',
      ordinal: 'i32',
      prominence: 'i32',
    },
  },
  warp: {
    sets: ['source', 'out'],
    bindings: {
      source: { kind: 'set', access: 'read' },
      taps: { kind: 'table', access: 'read' },
      out: { kind: 'set', access: 'read_write' },
    },
    numbers: {
      toSource: 'Affine',
    },
  },
} as const;

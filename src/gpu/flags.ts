/** Flags of the WebGPU standard (W3C, section GPUBuffer), which programs find as globals in browsers alone. */
export const bufferUsage = {
  mapRead: 0x1,
  mapWrite: 0x2,
  copySource: 0x4,
  copyDestination: 0x8,
  uniform: 0x40,
  storage: 0x80,
} as const;

export const mapMode = { read: 1, write: 2 } as const;

export const computeStage = 4;

// Constants of the optical model, which several stations share. kernels/generate-constants.js says how they are stated.

/**
 * Derived [power]: focus curve near its peak, energy = (1 + (distance / width)^2)^-peakPower: the shares of
 * the peak measured on rendered scenes; see optical-model.ts.
 */
export const peakPower = 2;

/**
 * Derived [power]: the same of whole curves of broad detail: far from the peak the contrast of a disc falls as its
 * diameter to the power -3/2 (the envelope of J1(z) / z), and energy as -3.
 */
export const curvePower = 1.5;

/**
 * Free [ln energy]: falloff of the curve of the finest detail midway between two frames from which a step leaves a gap:
 * an octave.
 */
export const gapFalloff = Math.LN2;

/** Derived [ln energy]: the same for a well-chosen step: half of that. */
export const goodFalloff = gapFalloff / 2;

/** Free [usual steps]: a step of this length or more is a missed or oversized one. */
export const minLongStep = 1.45;

// Constants of the focus curves of pixels (src/focus and its kernels). kernels/generate-constants.js says how they are stated.
import { codesPerOctave } from './state.js';

// Noise

/**
 * Free [code steps]: from the tenth percentile of the measure over noise to the best of some 30 frames of
 * it: measured.
 */
export const noiseSpreadCodes = 600;

/** Derived [frames]: the frames of that measurement. */
export const noiseSpreadFrames = 30;

/**
 * Derived [code steps]: By what the best of twice as many stands higher, code steps: 0.16 octave between 30
 * and 300 frames for the energy of some six independent samples (chi-squared; the quantiles of E. B. Wilson
 * & M. M. Hilferty 1931). Of fewer frames it stands lower, but then noise has the less to stand out from.
 */
export const noiseDoublingCodes = 82;

/**
 * Free [code steps]: The noise of one brightness stands over that of another by no more than this, code
 * steps: sensors and tone curves differ so far. A tone that only hairs or seams have shows their detail in
 * all of its pixels. At coarser levels what is out of focus counts as noise too, and has no such bound.
 */
export const noiseRangeCodes = 2 * codesPerOctave;

/** Free int [levels of the pyramid]: finest levels that this bound holds for. */
export const noiseLevels = 2;

/** Effort [px]: about so many pixels a level go into the noise statistics of a frame. */
export const noiseSamples = 40_000;

/** Free int [px]: minimum number of pixels of a brightness for its own noise. */
export const minNoiseSamples = 100;

// Window of the measure

/** Derived i32 [px of the level]: pixels to either side that a measure depends on. */
export const windowRadius = 3;

/** Derived [samples]: effective number of independent samples in the window. */
export const windowSamples = 6;

// Peaks

/** Free [code steps]: Depth of the valley that parts two peaks, in code steps: half an octave of energy. */
export const prominenceCodes = codesPerOctave;

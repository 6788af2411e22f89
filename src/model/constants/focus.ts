// Constants of the focus curves of pixels (src/focus and its kernels). kernels/generate-constants.js says how they are stated.
import { minPeakOctaves } from './model.js';
import { codesPerOctave } from './state.js';

// Noise

/**
 * Free [code steps]: difference between the tenth percentile of the measure in noise and its maximum over
 * some 30 frames: measured.
 */
export const noiseSpreadCodes = 600;

/** Derived [frames]: the frames of that measurement. */
export const noiseSpreadFrames = 30;

/**
 * Derived [code steps]: increase of that maximum over twice as many frames: 0.16 octave between 30 and 300
 * frames for the energy of some six independent samples (chi-squared; the quantiles of E. B. Wilson & M. M.
 * Hilferty 1931). Over fewer frames the maximum is lower, and noise has fewer values to stand out from.
 */
export const noiseDoublingCodes = 82;

/**
 * Free [code steps]: largest difference between the noise of two brightnesses: sensors and tone curves differ
 * by no more, and a brightness that only hairs or seams have shows their detail in all of its pixels. At
 * coarser levels what is out of focus counts as noise too, and has no such bound.
 */
export const noiseRangeCodes = 2 * codesPerOctave;

/** Free int [levels of the pyramid]: finest levels that this bound holds for. */
export const noiseLevels = 2;

/** Effort [px]: approximate number of pixels of a level in the noise statistics of a frame. */
export const noiseSamples = 40_000;

/** Free int [px]: minimum number of pixels of a brightness for its own noise. */
export const minNoiseSamples = 100;

// Window of the measure

/** Derived i32 [px of the level]: pixels to either side over which a measure averages energy: its binomial window of five. */
export const averageRadius = 2;

/** Derived i32 [px of the level]: pixels to either side that a measure depends on: energy is of second differences. */
export const windowRadius = averageRadius + 1;

/** Derived [samples]: effective number of independent samples in the window. */
export const windowSamples = 6;

// Peaks

/** Derived [code steps]: depth of the valley that parts two peaks: each stands as far above it as a peak stands above noise. */
export const prominenceCodes = minPeakOctaves * codesPerOctave;

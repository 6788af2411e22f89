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

/** Free f32 [usual steps]: a step of this length or more is a missed or oversized one. */
export const minLongStep = 1.45;

// Statistics

/** Free int [values]: fewest tiles or blocks of which a median or a ratio is taken. */
export const minSample = 12;

/** Free int [frames]: frames, or steps, on each side that show what is usual at a place of the stack. */
export const neighbourFrames = 4;

/** Free [share]: the share of the tiles that stands for the lowest or the highest values, whatever a few of them are. */
export const extremeShare = 0.1;

/** Free int [values]: fewest independent values that a scatter is estimated from, or that confirm one another. */
export const minEvidence = 8;

/**
 * Derived [standard deviations]: a value this far from the others is an outlier: B. Iglewicz & D. C. Hoaglin, How to
 * Detect and Handle Outliers (1993), for scatter from the median absolute deviation.
 */
export const outlierSigmas = 3.5;

/** Derived [standard errors]: the same where a second observation says so too: 95 % of normal errors lie within. */
export const confirmedSigmas = 2;

/** Free [steps]: standard deviation of the steps of a rail, where they do not show a smaller one themselves. */
export const railStepSigma = 0.15;

/** Free [ln energy]: scatter of the samples of a tile that contains more than one depth. */
export const mixedTileSigma = 0.2;

/** Free [ln energy]: smallest change of the energy of tiles that noise does not cause: half an octave. */
export const minClearChange = 0.35;

/** Free [ratio]: sharpness below which a frame is taken for shaken, relative to those around; see `relativeSharpness`. */
export const maxShakenSharpness = 0.75;

/** Free [levels]: a sample this far above those around it is no picture but a hot pixel. */
export const minHotExcess = 24;

/** Free [levels]: samples from this level on are clipped: JPEG blurs the end of the range by a level or two. */
export const minBurntLevel = 253;

// Focus curves of pixels

/**
 * Free f32 [octaves/unit^2]: bend that is assumed for a focus curve at its peak where neither side, or only
 * one, shows it.
 */
export const usualBend = 0.5;

/**
 * Free f32 [octaves]: octaves by which a curve may fall from its interpolated peak to its best frame before
 * a step is too coarse.
 */
export const gapFall = 0.35;

/**
 * Free f32 [octaves]: minimum height of a peak above noise: the maximum of many noise samples comes partway
 * there.
 */
export const minPeakOctaves = 1;

/** Free f32 [octaves]: height above noise from which a curve is reliable by itself. */
export const clearOctaves = 2;

/** Free f32 [octaves]: what stands this far above noise is no noise, whose peaks are lower. */
export const sureOctaves = 3;

/** Free [usual steps]: how far beyond the first and the last plane of focus a frame still counts as sharp. */
export const endReach = 0.75;

/** Derived i32 [1/64 frame]: the same, as the blend counts. */
export const endReach64ths = 64 * endReach;

/**
 * Free [steps]: half width of the focus curve that lengths in units are set for: at a step of 0.7 of the
 * depth of field.
 */
export const usualWidth = 1.3;

/**
 * Free [frames]: longest unit: with a longer one, thin structures close in front of others merged with them.
 */
export const maxUnit = 2;

/** Free f32 [units]: peaks of one pixel that are nearer to each other than this are one, */
export const apartUnits = 2;

/** Free f32 [units]: and so are depth indices of pixels. */
export const sameUnits = 1.25;

/** Free int [curves]: fewest curves that blur or bend are estimated from. */
export const minCurves = 200;

/** Free int [frames]: things this far apart along the stack are told apart by their blur. */
export const minApartFrames = 4;

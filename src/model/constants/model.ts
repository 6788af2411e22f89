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

/** Derived f32 [usual steps]: a step of this length or more is a missed or oversized one: halfway between one step and two. */
export const minLongStep = 1.5;

// Statistics

/**
 * Free int [values]: fewest tiles, blocks or independent values of which a median, a ratio or a scatter is taken, or that confirm
 * one another.
 */
export const minSample = 8;

/**
 * Derived int [frames]: frames, or steps, on each side that show what is usual at a place of the stack: both sides together are a
 * sample.
 */
export const neighbourFrames = minSample / 2;

/** Free [share]: the share of the tiles that stands for the lowest or the highest values, whatever a few of them are. */
export const extremeShare = 0.1;

/**
 * Derived [standard deviations]: a value this far from the others is an outlier: B. Iglewicz & D. C. Hoaglin, How to
 * Detect and Handle Outliers (1993), for scatter from the median absolute deviation.
 */
export const outlierSigmas = 3.5;

/** Derived f32 [standard errors]: the same where a second observation says so too: 95 % of normal errors lie within. */
export const confirmedSigmas = 2;

/** Free [steps]: standard deviation of the steps of a rail, where they do not show a smaller one themselves. */
export const railStepSigma = 0.15;

/** Free [ln energy]: scatter of the samples of a tile that contains more than one depth. */
export const mixedTileSigma = 0.2;

/** Derived [ln energy]: smallest change of the energy of tiles that their scatter does not cause. */
export const minClearChange = confirmedSigmas * mixedTileSigma;

/**
 * Derived [ratio]: sharpness below which a frame is taken for shaken, relative to those around; see `relativeSharpness`. It goes with
 * the root of energy, which has clearly changed against the frames on both sides.
 */
export const maxShakenSharpness = Math.exp(-minClearChange);

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
 * Free [octaves]: octaves by which a curve of a pixel may fall from its interpolated peak to its best frame before a step is too
 * coarse.
 */
export const gapFall = 0.35;

/**
 * Free f32 [octaves]: minimum height of a peak above noise: the maximum of many noise samples comes partway
 * there.
 */
export const minPeakOctaves = 1;

/**
 * Derived f32 [octaves]: height above noise from which a curve is reliable by itself: noise can take as much off a peak as it can
 * add, and what is left is one.
 */
export const clearOctaves = 2 * minPeakOctaves;

/** Derived f32 [octaves]: what stands this far above noise is no noise: it is clear against the highest peaks that noise makes. */
export const sureOctaves = minPeakOctaves + clearOctaves;

/**
 * Derived [usual steps]: how far beyond the first and the last plane of focus a frame still counts as sharp: as far as in the longest
 * step that is a plain one.
 */
export const endReach = minLongStep / 2;

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

/**
 * Derived int [frames]: things this far apart along the stack are told apart by their blur: peaks that are two whatever the unit.
 */
export const minApartFrames = apartUnits * maxUnit;

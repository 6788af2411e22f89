// Constants of the surface (src/surface and its kernels). kernels/generate-constants.js says how they are stated.
import { windowRadius } from './focus.js';
import { sameUnits } from './model.js';
import { supportSteps, weightUnit } from './state.js';

// Peaks

/**
 * Free f32 [units]: even a perfect curve places its peak no better than this: steps are uneven, curves not
 * Gaussian.
 */
export const minIndexError = 0.1;

/** Free f32 [octaves/unit^2]: least bend of a curve that is believed. */
export const minBend = 0.05;

/**
 * Free f32 [usual steps]: across a step of this length or more a sample counts only when it stands above
 * noise by `minPeakOctaves`.
 */
export const farStep = 2.4;

/** Free f32 [octaves]: a nearer peak may be fainter than the best by this much and still be something. */
export const maxFrontLoss = 3;

/** Free f32 [octaves]: the nearer of two peaks counts from this far above noise at the finest level, and an octave less a level: */
export const finestFrontOctaves = 5;

/** Free f32 [octaves]: but not less than this. Noise makes peaks too, most at the finest level. */
export const minCoarseFrontOctaves = 3;

// Candidates

/** Free f32 [octaves]: support grows no further than this. */
export const maxSupport = 6;

/** Free f32 [units]: candidates this near to each other are one surface. */
export const samePeakUnits = 1.75;

/**
 * Free f32 [share]: A pixel is contested where the next candidate has more than this share of the best one's
 * support.
 */
export const contestedShare = 0.35;

/** Free i32 [percent]: a candidate with less than this share of the best one's support is none. */
export const droppedPercent = 25;

/**
 * Free i32 [1/8 octave]: support from which a candidate is believed without its neighbours: noise peaks
 * lower.
 */
export const sureSupport = 24;

// Labels

/** Free f32 [units]: A neighbour's candidate supports one that lies less than this from it, units. */
export const supportReach = 2.5;

/** Free f32 [levels]: standard deviation of tones on one surface: noise, */
export const toneNoise = 10;

/** Free f32 [share]: and this part of the contrast around. */
export const tonePart = 0.8;

/** Effort int [px]: Holes between the taps of the averaging of supports, px. */
export const aggregateHoles = [2, 6];

/**
 * Free i32 [1/8 octave]: below this averaged support nothing is seen: noise peaks too, but at another depth
 * in each pixel.
 */
export const minAveraged = 8;

/**
 * Free f32 [octaves]: a coarser level speaks where the two finest show nothing, when its peak stands this
 * far above noise,
 */
export const minCoarseOctaves = 1.25;

/** Free f32 [octaves]: and so far in those around: */
export const minAroundOctaves = 0.9;

/** Derived i32 [px of the level]: pixels to either side, as far as the window of the measure reaches, */
export const aroundRadius = windowRadius;

/** Free i32 [px]: and how many of them must have the peak as well. */
export const minAround = 12;

// Near or behind

/** Free i32 [px]: a near surface is one that a label within so many pixels names; */
export const frontRadius = 3;

/** Free i32 [px]: its own tone, and what lies behind it, are sought this far. */
export const backRadius = 7;

/** Free i32 [px]: minimum number of pixels behind it. */
export const minBehind = 4;

/** Free f32 [levels]: noise of a tone. */
export const alphaNoise = 2.2;

/** Free f32 [ratio]: contrast over noise and texture of what is behind counts up to this. */
export const maxContrast = 8;

/**
 * Free f32 [ln odds]: odds for the near surface: alpha - 1/2, times contrast, times the share of what lies
 * around that is behind. Logistic regression on the scenes for tuning.
 */
export const alphaOdds = 1.77;

/** Free f32 [ln odds]: the same of the logarithm of the ratio of the supports. */
export const supportOdds = 0.67;

/** Free f32 [octaves]: added to supports whose ratio is taken. */
export const minCompared = 0.1;

/** Derived f32 [1/8 octave]: the same in stored units. */
export const minComparedSteps = supportSteps * minCompared;

/** Free f32 [1/unit^2]: weight of a second peak, whose depth index is a whole frame, at full support, */
export const wholeFrameWeight = 5;

/** Free f32 [1/unit^2]: and of a depth index taken over from neighbours. */
export const neighbourWeight = 1.25;

/** Free f32 [units]: a coarser level refines a depth index within so many units, */
export const refinedUnits = 1.2;

/** Free f32 [share]: at this part of its weight: its window averages over slopes. */
export const coarserShare = 0.2;

/** Derived [stored units]: stored weight from which a depth index stands on its own. */
export const fullWeight = wholeFrameWeight * weightUnit;

// Confidence

/** Free f32 [ln odds]: logarithm of the odds that a depth index is right within a unit: a number, */
export const certaintyOdds = -1;

/** Free f32 [ln odds]: and parts of the logarithms of the support, */
export const certaintyOfSupport = 1.2;

/**
 * Free f32 [ln odds]: and of its ratio to that of the next candidate. Logistic regression on the scenes for
 * tuning.
 */
export const certaintyOfLead = 0.75;

// False rims

/**
 * Free f32 [octaves]: a peak of clear detail is real unless the coarse level's stands higher by more than
 * this.
 */
export const fineLoss = 4;

/** Free f32 [octaves]: least lead of the edge over the peak, */
export const minLead = 1.5;

/** Free f32 [octaves]: and tolerance of the lead that its blur calls for. Set on scenes. */
export const leadTolerance = 4;

/** Free f32 [ratio]: the blur is known to a third. */
export const blurError = 1.3;

/** Free i32 [samples]: so many samples must show it: one alone may be noise. */
export const minWitnesses = 2;

/** Derived i32 [1/64 frame]: a finer level's peak is the marked one when it lies this near to it. */
export const samePeak64ths = 64 * sameUnits;

/**
 * Effort [px]: Beyond, what is left of an edge in its blur is below the noise of the levels that are
 * followed, px.
 */
export const maxRimBlurPx = 64;

/** Free int [level]: level whose detail tells a real peak from the blur of an edge. */
export const fineLevel = 1;

// Smoothing

/** Effort int [px]: passes of the smoothing: holes between its taps, */
export const smoothHoles = [1, 2, 4];

/** Free [units]: and tolerance. */
export const smoothTolerance = 1.2;

// Blur

/**
 * Free [octaves]: Bend of a curve without any, octaves: the best of noisy values stands out from its
 * neighbours. Fitted likewise.
 */
export const noiseBend = 0.18;

/**
 * Free [octaves]: Bends about this large tell the blur best: noise drowns smaller ones, and larger ones
 * leave the second order.
 */
export const bestBend = 1.2;

/** Free [share]: a loss of contrast up to this is not restored, */
export const minLoss = 0.15;

/**
 * Free [share]: from this on it is in full: where steps are small, curves bend as much by what differs from
 * frame to frame as by blur. Set on scenes.
 */
export const fullLoss = 0.45;

// Which end is near

/** Free int [px of the level]: Half side of the window about a site, pixels of the level. */
export const siteRadius = 8;

/**
 * Free [px of the level]: What lies on either side of an edge must be blurred by this much where the other
 * is sharp, pixels of the level.
 */
export const siteBlurPx = 6;

/** Free int [frames]: minimum distance of the two sides. */
export const minApartFrames = 4;

/** Free int [frames]: Peaks of this many frames around are one side. */
export const sideFrames = 1;

/**
 * Free int [px of the level]: A rim's own detail fills the measure's window beyond it, pixels of the level.
 */
export const leakPx = 2;

/** Free [octaves]: peaks that say which side a pixel belongs to stand so far above noise. */
export const sideOctaves = 1.25;

/** Free [octaves]: detail of what lies behind, seen through a rim, stands so far above noise. */
export const behindOctaves = 1;

/** Free [octaves]: a side's own detail stands this far above noise, */
export const minUsualOctaves = 3;

/**
 * Free [octaves]: and the two sides differ by no more than this: what is mistaken for a side is the blur of the other's edge, or
 * noise.
 */
export const maxUsualRatioOctaves = 4;

/**
 * Free [octaves]: Detail seen through a rim is fainter than in the open by no more than this, octaves: what
 * is fainter is blur.
 */
export const faintOctaves = 7;

/**
 * Free [octaves]: Pixels of a side by its own detail alone show at least this much less of it than is usual
 * there, octaves.
 */
export const ownOctaves = 1;

/** Free int [px]: least pixels of the smaller side, */
export const minSidePixels = 10;

/** Free int [px]: and of its part beyond the leak. */
export const minCorePixels = 3;

/** Free [share]: least part of the window that has detail, */
export const minKnownShare = 0.5;

/** Free [share]: and of that the part of the two sides. */
export const minSidesShare = 0.7;

/** Effort int [sites]: sites per level at most, */
export const maxSites = 10_000;

/** Effort int [px of the level]: and their least distance. */
export const minPitch = 3;

/** Free int [blocks]: the picture's smaller side in blocks; the votes of a block's sites are added up. */
export const blocksAcross = 20;

/** Free int [px]: minimum side of a block: windows of neighbouring blocks hardly overlap. */
export const minBlockPx = 32;

/** Free [votes]: blocks whose votes add up to less are as often wrong as right: measured. */
export const minBlockVote = 0.25;

/** Free [votes]: smallest scale of the votes' reliability: three in four blocks with twice as much are right. */
export const minReliabilityScale = 0.3;

/** Effort int [scales]: scales of reliability that are asked, each twice the one before. */
export const reliabilityCount = 10;

/** Effort int [levels]: finest levels that are asked. */
export const seenLevels = 3;

/** Effort [px]: about so many pixels of a level are looked at for the bend of its curves. */
export const bendSamples = 200_000;

/**
 * Free [cycles/px of the level]: wave that the measure answers to. Fitted to rendered scenes of known blur,
 * 0.8 to 4.2 px a frame: 0.7 to 1.15 of the truth.
 */
export const measuredFrequency = 0.27;

/** Free f32 [standard deviations]: pixels whose tones differ by so many do not look alike. */
export const toneReach = 1.67;

/** Derived f32 [px]: half of a disc of `backRadius`: what lies behind a straight edge. */
export const discPixels = Math.round((Math.PI * backRadius ** 2) / 2);

// Constants of the surface (src/surface and its kernels). kernels/generate-constants.js says how they are stated.
import { windowRadius } from './focus.js';
import { confirmedSigmas, minSample, outlierSigmas, sameUnits, sureOctaves } from './model.js';
import { codesPerOctave, supportSteps, weightUnit } from './state.js';

// Peaks

/** Free f32 [units]: lower bound on the error of a depth index: steps are uneven, curves not Gaussian. */
export const minIndexError = 0.1;

// Candidates

/** Free f32 [octaves]: upper bound on support. */
export const maxSupport = 6;

/**
 * Free f32 [share]: A pixel is contested where the next candidate has more than this share of the best one's
 * support.
 */
export const contestedShare = 0.35;

/** Derived i32 [1/8 octave]: support of a candidate that is reliable without its neighbours, and averaged support of one that is reliable with them. */
export const sureSupport = supportSteps * sureOctaves;

/** Free i32 [percent]: a candidate with less than this share of the best one's support is dropped. */
export const droppedPercent = 25;

// Labels

/** Derived f32 [units]: a neighbour's candidate supports one that lies less than this from it: by half within what is one surface. */
export const supportReach = 2 * sameUnits;

/** Free f32 [levels]: pixels whose tones differ by this much do not look alike where a surface is smooth; */
export const toneNoise = 16.7;

/** Free f32 [ratio]: where it is not, so many standard deviations of the tones around are added in squares. */
export const tonePart = 1.336;

/** Effort int [px]: Holes between the taps of the averaging of supports, px. */
export const aggregateHoles = [2, 10];

/** Derived i32 [px of the level]: pixels to either side, as far as the window of the measure reaches, */
export const aroundRadius = windowRadius;

/**
 * Derived i32 [px]: minimum number of those that have the peak as well, as many as lie in a quadrant, for in the corner of a thing
 * there are no more: a coarser level is used where the two finest show nothing.
 */
export const minAround = Math.round((2 * aroundRadius + 1) ** 2 / 4);

// Near or behind

/** Free i32 [px]: radius of the disc in which what lies behind is searched for, and the tones of a near surface that only a wide window shows; */
export const backRadius = 11;

/** Effort i32 [px]: of its rows one in so many is looked at: they tell as much as all. */
export const discRows = 3;

/** Derived f32 [px]: pixels of the disc in those rows. */
export const discPixels = Math.round((Math.PI * backRadius ** 2) / discRows);

/**
 * Free f32 [ln support]: near or behind: what alpha - 1/2, times contrast, times the share of what lies around that is behind counts
 * for, where the logarithm of the ratio of the supports counts for one. Contrast is that of the two tones to `toneNoise` and the
 * texture of what is behind. With 4 to 8, of all pixels with both candidates .1 % more are decided wrongly at most.
 */
export const alphaOdds = 6;

/** Derived f32 [octaves]: added to supports whose ratio is taken: the least that is stored. */
export const minCompared = 1 / supportSteps;

/** Free f32 [1/unit^2]: weight of a second peak, whose depth index is a whole frame, and of one taken over from neighbours. */
export const wholeFrameWeight = 5;

/** Derived f32 [share]: a depth index of level 1 counts for each of the four pixels that share it by a quarter of its weight. */
export const coarserShare = 1 / 4;

/** Derived [stored units]: stored weight from which a depth index stands on its own. */
export const fullWeight = wholeFrameWeight * weightUnit;

// Depth of the map

/** Derived i32 [px]: how far beside something near pixels have its depth: the window of the measure. */
export const edgeReach = windowRadius;

/** Derived i32 [px]: half side of the square in which what is near and what is behind show their tones: as far again. */
export const shareRadius = 2 * windowRadius;

/**
 * Derived [levels]: gradient, by Sobel's sums, of detail that is confirmed. Tones of two pixels that differ by `toneNoise` are no error;
 * these sums have the square root of 6 times the error of such a difference.
 */
export const confirmedGradient = (confirmedSigmas / outlierSigmas) * Math.sqrt(6) * toneNoise;

/** Derived i32 [px]: how far from a pixel detail of its surface is looked for: twice the half side of that square. */
export const ringRadius = 2 * shareRadius;

/**
 * Derived i32 [px]: pixels of the measure's window: detail shows in as many at least, and a near surface with so many of them that
 * are farther from its edge is broad.
 */
export const thinPixels = (2 * windowRadius + 1) ** 2;

/**
 * Derived f32 [ln odds/standard deviation]: slope of the logistic distribution that comes nearest to the normal one: N. L. Johnson &
 * S. Kotz, Continuous Univariate Distributions (1970).
 */
export const normalSlope = 1.702;

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
 * Free f32 [octaves]: a peak of clear detail is real unless the coarse level's stands higher by more than this; and tolerance of
 * the lead that an edge's blur calls for. Set on scenes.
 */
export const rimTolerance = 4;

/** Derived i32 [1/64 frame]: a finer level's peak is the marked one when it lies this near to it. */
export const samePeak64ths = 64 * sameUnits;

/**
 * Effort [px]: largest blur of an edge that is looked for: what is left of an edge in a wider one is below
 * the noise of the levels that are followed.
 */
export const maxRimBlurPx = 64;

/** Free int [level]: level whose detail tells a real peak from the blur of an edge. */
export const fineLevel = 1;

// Window leaks

/** Derived i32 [px of the level]: how far beside detail the measure still answers to it: its window. */
export const leakRadius = windowRadius;

// Size of the surface

/**
 * Effort [px]: pixels of the composite from which the surface of `select`, which its picture does not follow, is found at half
 * the size, in a quarter of the time. Over seven scenes of 1 to 2 megapixels, .4 to 2.2 % of depths were off by more than two
 * steps then, at full size .5 to 2.8 %, but of things of a pixel or two 72 and 80 % were found, for 80 and 87: large pictures
 * have few of those.
 */
export const halvedSurfacePixels = 4e6;

// Smoothing

/** Effort int [px]: passes of the smoothing: holes between its taps, */
export const smoothHoles = [1, 3, 6];

// Blur

/** Derived int [curves]: fewest curves that blur or bend is estimated from: those of a sample of windows that do not overlap. */
export const minCurves = minSample * (2 * windowRadius + 1) ** 2;

/**
 * Free [octaves]: bend that noise gives a curve without any: the best of noisy values stands out from its
 * neighbours. Fitted like `measuredFrequency`.
 */
export const noiseBend = 0.18;

/**
 * Free [octaves]: bend that the blur is estimated best from: smaller ones are lost in noise, and for larger
 * ones second order no longer holds.
 */
export const bestBend = 1.2;

// Which end is near

/**
 * Derived i32 [px of the level]: half side of the window about a site: on either side of an edge the measure's window
 * leaks so far, and so far again detail is seen through a rim or measured beyond the leak; a window's reach more for edges
 * that do not pass through the site.
 */
export const siteRadius = 3 * windowRadius;

/** Derived i32 [frames]: peaks within this many frames of each other belong to one side: whole frames within `sameUnits`. */
export const sideFrames = Math.floor(sameUnits);

/**
 * Free i32 [code steps]: detail seen through a rim is fainter than in the open by no more than this, two and a half octaves: of
 * its contrast .42 is left, which a straight rim lets through an eighth of its width from the edge. What is fainter is mostly
 * blur. With 2 to 3 octaves 74 or 75 of 79 stacks for tuning are told, none wrong.
 */
export const faintCodes = 2.5 * codesPerOctave;

/** Effort int [sites]: maximum number of sites of a level, */
export const maxSites = 10_000;

/** Effort int [px of the level]: and their minimum distance. */
export const minPitch = 3;

/**
 * Free [votes]: smallest scale of the votes' reliability: three in four blocks with twice as much are right. With a third to
 * three times as much 44 or 45 of 48 stacks for tuning are told, none wrong.
 */
export const minReliabilityScale = 0.3;

/** Effort int [scales]: number of scales of reliability that are tried, each twice the one before. */
export const reliabilityCount = 10;

/** Effort int [levels]: finest levels whose sites vote. */
export const seenLevels = 3;

/**
 * Derived int [px]: side of the blocks in which the votes of sites are added up: the window of the measure at the coarsest of
 * those levels, so that a detail hardly counts in more than two.
 */
export const blockPx = (2 * windowRadius + 1) * 2 ** (seenLevels - 1);

/** Effort [px]: approximate number of pixels of a level whose curves give its bend. */
export const bendSamples = 200_000;

/**
 * Free [cycles/px of the level]: wave that the measure answers to. Fitted to rendered scenes of known blur,
 * 0.8 to 4.2 px a frame: 0.7 to 1.15 of the truth.
 */
export const measuredFrequency = 0.27;

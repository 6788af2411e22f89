// Constants of registration (src/register and its kernels). kernels/generate-constants.js says how they are stated.
import { minBurntLevel, neighbourFrames, outlierSigmas } from './model.js';

// Pyramids and tiles

/**
 * Effort int [px]: the coarsest level is the first whose longer side is at most this: small enough to search
 * exhaustively.
 */
export const maxCoarsestSide = 110;

/**
 * Free int [px of the level]: side of the tiles that motion is measured on. Small tiles follow defocus that changes along a
 * slanted surface; a tile still contains some three periods of the band each way.
 */
export const tileSide = 16;

/** Derived [share]: of the energy of white noise, what the finest band passes: the sum of the squares of its weights. */
const bandNoiseShare = 0.0264;

/** Derived [levels squared]: maximum energy of the band that counts as noise: that of white noise of 2 levels. More is texture. */
export const maxBandNoiseEnergy = bandNoiseShare * 2 ** 2;

/**
 * Effort int [threads]: threads of a merge from which frames and pairs are measured in threads of their own: on fewer cores the
 * time until their code is compiled is as long as what they save.
 */
export const minParallelThreads = 8;

/** Effort int [threads]: maximum number of those threads, of one reading: so many keep up with the decoding of 16. */
export const maxMotionThreads = 6;

/** Effort [share]: shift of neighbouring frames that is searched for, as a share of the width: slightly more than on a badly bumped rail. */
export const maxMotion = 0.07;

/**
 * Effort int [tiles]: maximum number of tiles compared on a level, finest first, which bounds the time of a
 * pair.
 */
export const tileBudget = [1000, 500, 400];

/** Effort int [rounds]: Gauss-Newton steps on a level; the finer levels start within a fraction of a pixel. */
export const roundsByLevel = [1, 1];

/**
 * Free [share]: minimum share of a tile's energy that the reference explains in a match: a correlation of 0.67. Tiles of frames that
 * have nothing in common reach it by chance once in a thousand, and one of 0.58 four times.
 */
export const minExplained = 0.45;

/** Derived int [values]: of a motion: scale, roll and shift. */
export const motionParameters = 4;

/**
 * Derived [px of the level]: longest step of a match: half of a period of the band, which is some six pixels; the next match is
 * a period away.
 */
export const maxStepPx = 3;

/**
 * Effort int [levels of the pyramid]: levels whose tiles are fitted together at the end. The finest may contain
 * only noise when all is defocused, whereas what is far out of focus there is nearly sharp on the coarsest.
 */
export const votingLevels = 5;

/**
 * Effort int [frames]: earlier frames kept at registration size: two neighbours, and one more to bridge two bad
 * ones.
 */
export const keptFrames = 3;

/** Derived [factor]: the h in the model of a tile, 1 for an even radiance over the lens; see match-tile.ts. */
export const slantFactor = 1;

/** Derived [levels squared]: minimum energy of detail: that of rounding to whole levels, a variance of 1 / 12. */
export const minDetailEnergy = bandNoiseShare / 12;

// Errors of tiles

/**
 * Derived [1/px]: half the gradient of contrast along a tile that its model does not include. Contrast changes across a tile by
 * twice its mean at most, either way, and any gradient between is equally likely. It causes an apparent shift of half of it times
 * the squared wavelength: hardly any across a hair, much along it, where only the fading of the hair is visible.
 */
export const contrastGradient = 1 / (Math.sqrt(3) * tileSide);

/**
 * Free [reduced px]: error of a tile that shows what is not the texture of a surface. That is an outline: the surface turns away
 * there, and as its rim comes into focus the outline moves, for all rims in the same direction, and as far on a coarse level as
 * on a fine one. And it is what is left of a texture that is out of focus, by the fourth power of the share of its energy that it lost:
 * the rims of its blur, of which, on a slanted surface, the one on the narrowing side is the sharper. So all of it seems to
 * move as the blur changes, and on a bulging subject to grow.
 */
export const biasPx = 1.6;

/** Profile of a line in the band, 1/16: [1 2 1] / 4 less its blur by [1 0 2 0 1] / 4. */
const lineProfile = [-1, -2, 1, 4, 1, -2, -1];

/** Derived [ratio]: sign ratio of a hair, where that of a step edge is 0; see `momentCount`. */
export const hairSign =
  lineProfile.reduce((sum, value) => sum + value ** 3, 0) /
  lineProfile.reduce((sum, value) => sum + Math.abs(value) ** 3, 0);

// Fit of a pair

/** Effort int [rounds]: reweighted least squares: rounds of a fit. */
export const fitRounds = 8;

/** Effort int [rounds]: of them the first, which only locate the majority. */
export const gatheringRounds = 4;

/** Effort int [rounds]: rounds of the fit of a ratio of light. */
export const ratioRounds = 6;

/**
 * Derived [standard deviations]: median length of a two-dimensional normal error of unit variance: sqrt(2 ln
 * 2), to six digits.
 */
export const medianLength = 1.17741;

/**
 * Derived [standard deviations]: usual limit of the biweight: 95 % efficient on normal errors (Holland &
 * Welsch 1977).
 */
export const biweightLimit = 4.685;

/** Derived [standard deviations]: limit of Cauchy's weights of the same efficiency (the same source). */
export const cauchyLimit = 2.385;

/**
 * Free [ratio]: prior on what tiles with shared errors move together in shift and roll, standard deviation for a shared error of
 * one, where it is one in scale. All around a convex subject rims seem to move outward together, but surfaces slant in all
 * directions, and none rotates about the centre.
 */
export const commonModeSigma = 0.17;

// Defocus and slopes

/**
 * Free [reduced px, px of the level for a single tile]: error of sharp tiles, of pairs and of steps beside that of their noise, which
 * does not show in their scatter: blur of one side of an edge moves the edge alike from frame to frame. Of 20 stacks by a
 * camera that stands still, of 180 to 640 px, growths had a median of 0.01, the largest 0.06 to 0.08.
 */
export const sharpPx = 0.015;

/**
 * Free [reduced px]: error in scale of tiles whose wide focus curves show a surface that turns away; see
 * `steepErrorPx`.
 */
export const steepPx = 1;

// Solution of a stack

/** Effort int [rounds]: Gauss-Newton rounds. */
export const stackRounds = 8;

/** Effort [px]: uncertainties below this count as none. */
export const minSigmaPx = 1e-3;

/** Derived [reduced px at the radius]: least displacement that shows: an outlier beside the error of a pair. */
export const minVisiblePx = outlierSigmas * sharpPx;

// Light

/** Effort int [blocks]: the longer side of the grid: blocks stay wider than the blur between near frames. */
export const maxLightGridSide = 72;

/** Derived [share of full range]: blocks with a clipped sample are left out, */
export const maxLightShare = (minBurntLevel - 1) / 255;

/**
 * Derived [power]: gains are those of encoded values; light is about this power of them: the sRGB curve at
 * middle tones (IEC 61966-2-1).
 */
export const encodingPower = 2.2;

/**
 * Derived [frames]: light is also compared with frames as far away as what is usual is looked for on both sides: the grids are
 * tiny, and long links prevent a trend in the gains.
 */
export const maxLightDistance = 2 * neighbourFrames;

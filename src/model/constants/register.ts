// Constants of registration (src/register and its kernels). kernels/generate-constants.js says how they are stated.
import { confirmedSigmas, minBurntLevel, neighbourFrames } from './model.js';

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

/**
 * Derived [levels squared]: maximum energy of the band that counts as noise: that of white noise of 2
 * levels, of which the band passes a tenth. More is texture.
 */
export const maxBandNoiseEnergy = 0.1 * 2 ** 2;

/**
 * Effort int [threads]: threads of a merge from which frames and pairs are measured in threads of their own: on fewer cores the
 * time until their code is compiled is as long as what they save.
 */
export const minParallelThreads = 8;

/** Effort int [threads]: maximum number of those threads, of one reading: so many keep up with the decoding of 16. */
export const maxMotionThreads = 6;

/**
 * Free [share]: how far neighbouring frames lie apart, slightly more than on a badly bumped rail: shift, as a share of the
 * width, that is searched for, and standard deviation of scale and roll about 1 and 0, which regularises fits of few tiles.
 */
export const maxMotion = 0.07;

/**
 * Effort int [tiles]: maximum number of tiles compared on a level, finest first, which bounds the time of a
 * pair.
 */
export const tileBudget = [1000, 500, 400];

/** Effort int [rounds]: Gauss-Newton steps on a level; the finer levels start within a fraction of a pixel. */
export const roundsByLevel = [1, 1];

/** Free [share]: minimum share of a tile's energy that the reference explains in a match: a correlation of 0.58. */
export const minExplained = 1 / 3;

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

/**
 * Derived [levels squared]: minimum energy of detail: that of rounding to whole levels, a variance of 1 / 12, of which the
 * band passes a tenth.
 */
export const minDetailEnergy = 0.1 / 12;

// Errors of tiles

/**
 * Free [1/px]: gradient of contrast along a tile that its model does not include. It causes an apparent
 * shift of that times the squared wavelength: hardly any across a hair, much along it, where only the fading
 * of the hair is visible.
 */
export const contrastGradient = 0.045;

/**
 * Free [px of the finest level]: error of a tile that contains only a step edge. Such an edge is an outline:
 * the surface turns away there, and as its rim comes into focus the outline moves, for all rims in the same
 * direction, and as far on a coarse level as on a fine one.
 */
export const outlinePx = 2;

/** Free [ratio]: sign ratio from which features are hairs rather than step edges; see `momentCount`. */
export const minHairSign = 0.5;

// Fit of a pair

/** Effort int [rounds]: reweighted least squares: rounds of a fit. */
export const fitRounds = 9;

/** Effort int [rounds]: of them the first, which only locate the majority. */
export const gatheringRounds = 4;

/** Effort int [rounds]: rounds after those in the fit with shared errors. */
export const rejectingRounds = 4;

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
 * Free [px]: prior on the common-mode motion for a tile with a shared error of one pixel, standard
 * deviations: scale and roll at the radius, shift. All around a convex subject rims seem to move outward
 * together, but surfaces slant in all directions, and none rotates about the centre.
 */
export const commonModeSigmaPx = [1.5, 0.1, 0.15, 0.15];

// Defocus and slopes

/**
 * Free [radians]: blur radius times wave number up to which a texture is its own wave: beyond, the contrast
 * of a disc, 2 J1(z) / z, approaches its zero at 3.83.
 */
export const maxBlur = 2.4;

/**
 * Free [reduced px]: error of a blurred tile, of its own and shared with the others of the pair, by the square of the share of
 * its energy that it lost: what is left of a texture is not the texture itself but the rims of its blur, and of the two rims of a slanted surface the one on its
 * narrowing side is the sharper. So all of it seems to move as the blur changes, and on a bulging subject to grow.
 */
export const blurredPx = 1.5;

/**
 * Free [reduced px, px of the level for a single tile]: error of sharp tiles, of pairs and of steps beside that of their noise.
 */
export const sharpPx = 0.03;

/**
 * Free [reduced px]: error in scale of tiles whose wide focus curves show a surface that turns away; see
 * `steepErrorPx`.
 */
export const steepPx = 1;

/**
 * Free [ratio]: squared widths of focus curves up to this multiple of the facing ones' are those of other
 * textures.
 */
export const facingScatter = 2;

// Solution of a stack

/** Effort int [rounds]: Gauss-Newton rounds. */
export const stackRounds = 8;

/** Effort [px]: uncertainties below this count as none. */
export const minSigmaPx = 1e-3;

/** Derived [px at the radius]: least displacement that shows: two standard errors of a pair. */
export const minVisiblePx = confirmedSigmas * sharpPx;

/**
 * Free [px at the radius]: standard error of the growth per frame that does not show in its scatter: blur of
 * one side of an edge moves the edge alike from frame to frame. Of 20 stacks by a camera that stands still,
 * of 180 to 640 px, growths had a median of 0.01, the largest 0.06 to 0.08.
 */
export const growthBiasPx = 0.015;

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

// Constants of registration (src/register and its kernels). kernels/generate-constants.js says how they are stated.
import { confirmedSigmas, minBurntLevel } from './model.js';

// Pyramids and tiles

/**
 * Effort int [px]: the coarsest level is the first whose longer side is at most this: small enough to search
 * exhaustively.
 */
export const maxCoarsestSide = 110;

/**
 * Free int [px of the level]: sides of the tiles that motion is measured on, finest level first. Small tiles
 * follow defocus that changes along a slanted surface; a tile still contains some six periods of the band.
 */
export const tileSideByLevel = [16, 16, 16, 16, 12];

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

/** Free [levels]: a pixel this far outside the range of its neighbours is a sensor defect. */
export const isolatedLevels = 12;

/**
 * Free [share of the width]: search radius on the coarsest level: slightly more than the shift of a badly
 * bumped rail.
 */
export const searchShare = 0.07;

/**
 * Free int [cells]: the frame is divided into this many cells across, so that a corner with strong detail does
 * not use up the tiles.
 */
export const chosenCellsX = 6;

/** Derived [cells]: the same down, for frames of 3 : 2. */
export const chosenCellsY = Math.round((chosenCellsX * 2) / 3);

/** Free [ratio]: maximum tiles of a cell, as a multiple of its even share. */
export const maxCellExcess = 2.5;

/**
 * Effort int [tiles]: maximum number of tiles compared on a level, finest first, which bounds the time of a
 * pair.
 */
export const tileBudget = [1000, 500, 400];

/** Effort int [rounds]: Gauss-Newton steps on a level; the finer levels start within a fraction of a pixel. */
export const roundsByLevel = [1, 1];

/**
 * Free [share]: minimum share of a tile's energy that the reference explains in a match, finest level first:
 * a correlation of 0.55 to 0.7.
 */
export const minExplained = [0.3, 0.35, 0.45, 0.45, 0.45];

/**
 * Free [px of the level]: longest step of a match: Gauss-Newton on a band of 6 pixels per period converges
 * from about a quarter of a period.
 */
export const maxStepPx = 1.6;

/**
 * Effort int [levels of the pyramid]: levels whose tiles are fitted together at the end. The finest may contain
 * only noise when all is defocused, whereas what is far out of focus there is nearly sharp on the coarsest.
 */
export const votingLevels = 5;

/**
 * Free int [levels of the pyramid]: levels of which one must agree for a motion to be reliable: coarser ones
 * have too few tiles.
 */
export const reliableLevels = 3;

/** Free [share]: and their minimum share of the tiles with detail in both frames. */
export const minAgreeingShare = 0.3;

/**
 * Effort int [frames]: earlier frames kept at registration size: two neighbours, and one more to bridge two bad
 * ones.
 */
export const keptFrames = 3;

/** Derived [factor]: the h in the model of a tile, 1 for an even radiance over the lens; see match-tile.ts. */
export const slantFactor = 1;

/** Free [ratio]: a tile has detail when its energy is above this multiple of the noise of both frames, */
export const minDetailToNoise = 0.75;

/** Free [levels squared]: and above that by this. */
export const minDetailEnergy = 0.005;

/** Free [px of the level]: a tile agrees with a motion up to this distance from it. */
export const maxAgreeingPx = 0.7;

/** Free [ratio]: minimum contrast of a tile in the moving frame relative to the reference: less is no match. */
export const minMatchContrast = 0.02;

// Errors of tiles

/**
 * Free [1/px]: gradient of contrast along a tile that its model does not include. It causes an apparent
 * shift of that times the squared wavelength: hardly any across a hair, much along it, where only the fading
 * of the hair is visible.
 */
export const contrastGradient = 0.03;

/**
 * Free [px of the level]: error of a tile that is not explained at all (occlusion, motion of the subject).
 */
export const unexplainedPx = 0.1;

/**
 * Free [px of the finest level]: error of a tile that contains only a step edge. Such an edge is an outline:
 * the surface turns away there, and as its rim comes into focus the outline moves, for all rims in the same
 * direction, and as far on a coarse level as on a fine one.
 */
export const outlinePx = 2;

/** Free [ratio]: error that outlines of a pair share, relative to that of one. */
export const outlineSharedRatio = 2;

/** Free [ratio]: sign ratio from which features are hairs rather than step edges; see `momentCount`. */
export const minHairSign = 0.5;

// Fit of a pair

/** Effort int [rounds]: reweighted least squares: rounds of a fit. */
export const fitRounds = 9;

/** Effort int [rounds]: of them the first, which only locate the majority. */
export const gatheringRounds = 4;

/** Effort int [rounds]: rounds after those in the fit with shared errors. */
export const rejectingRounds = 4;

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
 * Free [ratio]: prior on scale and roll between near frames: standard deviation about 1 and 0, which
 * regularises fits of few tiles.
 */
export const scaleRollSigma = 0.03;

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

/** Free [levels]: minimum RMS of fine detail that can be aligned. */
export const minDetailLevels = 0.05;

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

/** Free [share of full range]: or with a mean light this near black. */
export const minMeanLight = 0.001;

/**
 * Derived [power]: gains are those of encoded values; light is about this power of them: the sRGB curve at
 * middle tones (IEC 61966-2-1).
 */
export const encodingPower = 2.2;

/**
 * Free [ratio]: lower bound on the error of a ratio, for errors that do not show in the scatter of its
 * blocks: blur across borders, clipped highlights.
 */
export const minRatioError = 2e-4;

/**
 * Free int [frames]: light is also compared over this distance: the grids are tiny, and long links prevent a
 * trend in the gains.
 */
export const maxLightDistance = 8;

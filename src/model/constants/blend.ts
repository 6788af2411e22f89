// Constants of the blend (src/blend and its kernels). kernels/generate-constants.js says how they are stated.
import { codesPerOctave } from './state.js';

// Reach of the weights

/**
 * Free i32 [1/64 frame]: reach over the frames next to the surface or a peak: two of them halfway between,
 * hardly more than one at a plane of focus. It is the widest over which the blend restores what blur took.
 */
export const clearReach = 84;

/**
 * Derived i32 [1/64 frame]: the same where nothing is to be restored: where detail stands out from noise by
 * less than `clearRise`.
 */
export const faintReach = clearReach + 4;

/** Free i32 [code steps]: detail that stands this far above noise is restored: five octaves. */
export const clearRise = 5 * codesPerOctave;

/** Derived i32 [1/64 frame]: reach of a single frame. */
export const singleReach = 60;

/**
 * Derived i32 [1/64 frame]: where nothing is sharp, more frames are averaged: they hold the same, less noise. The widest
 * that six bits hold.
 */
export const flatReach = 252;

/** Free i32 [levels of the pyramid]: finest levels at which that pays: noise is fine. */
export const flatLevels = 3;

// Own peaks

/**
 * Free i32 [code steps]: own peaks overrule the surface when they stand this far above noise: four octaves,
 */
export const selectRise = 4 * codesPerOctave;

/** Free i32 [1/64 frame]: and are this far from the surface. */
export const selectApart = 16;

// Front layer and near surface

/** Free i32 [levels of the pyramid]: finest levels at which something thin is laid over what is behind it. */
export const frontLevels = 3;

/**
 * Free f32 [weight]: weight with which a thing before the rest is added: what the weights about a centre
 * come to, a little less.
 */
export const frontWeight = 1.1;

/**
 * Free [px of the level]: something thin is laid over what is behind it when either is blurred this wide
 * where the other is sharp: less blurred, it would still show there and count twice.
 */
export const frontBlurPx = 2.8;

/**
 * Free int [level]: Coarsest level at which the nearer surface wins beside an edge; at coarser ones its blur
 * no longer reaches.
 */
export const lastNearLevel = 4;

/**
 * Free [px]: It wins when the blur of either is wider where the other is sharp, px: narrower, both frames
 * show much the same.
 */
export const nearBlurPx = 8;

// Restored contrast

/**
 * Free f32 [share]: most that a coefficient grows by: beyond, noise would grow with it, and second order no
 * longer gives the loss.
 */
export const maxRestored = 0.6;

// Coverage

/** Free i32 [px]: how far around a pixel most depth indices must have missed their peak for a gap. */
export const gapRadius = 3;

/** Derived i32 [1/64 of a step]: half of a long step: its nearer frame is at most so far away. */
export const halfStep = 32;

// Foreground blur spill

/** Free int [frames]: What is this many frames nearer has blur enough to spill. */
export const spillFrames = 4;

/**
 * Free [share]: The blur is taken a quarter smaller than measured: too wide a spill does harm, too narrow a
 * one subtracts a little less.
 */
export const blurShare = 0.75;

/** Effort [px]: Farthest that spill is looked for, px. */
export const maxSpillPx = 256;

/** Free [1/65535 of the light]: A fiftieth of the light and more is counted. */
export const plainShare = 0.02 * 65535;

/**
 * Free i32 [1/64 frame]: Farthest from a pixel's depth, 1/64 frame, at which the spill is subtracted from a
 * frame.
 */
export const ownReach = 128;

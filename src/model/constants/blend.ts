// Constants of the blend (src/blend and its kernels). kernels/generate-constants.js says how they are stated.
import { sureOctaves } from './model.js';
import { codesPerOctave } from './state.js';

// Reach of the weights

/**
 * Free i32 [1/64 frame]: blend radius along the stack next to the surface or a peak: halfway between two
 * planes of focus two frames contribute, at a plane hardly more than one. The largest at which lost contrast
 * is restored.
 */
export const clearReach = 84;

/**
 * Derived i32 [1/64 frame]: the same where no contrast is restored: where detail stands less than `clearRise`
 * above noise.
 */
export const faintReach = clearReach + 4;

/** Derived i32 [code steps]: contrast is restored, and own peaks overrule the surface, where detail stands this far above noise. */
export const clearRise = sureOctaves * codesPerOctave;

/** Derived i32 [1/64 frame]: blend radius that takes in a single frame. */
export const singleReach = 60;

/**
 * Derived i32 [1/64 frame]: blend radius where nothing is sharp: the frames show the same there, and their
 * mean has less noise.
 */
export const flatReach = 252;

// Front layer and near surface

/**
 * Free i32 [levels of the pyramid]: number of finest levels: there a thin structure is layered over what lies behind it, and
 * noise, which is fine, is averaged where nothing is sharp.
 */
export const finestLevels = 3;

/**
 * Free f32 [weight]: weight of the front layer: a little less than the sum of the weights around a centre. At 1 a head full of
 * bright hairs loses .1 dB, at that sum a photograph .3.
 */
export const frontWeight = 1.1;

/**
 * Free [px of the level]: a thin structure is layered over what lies behind it if either is blurred by this much where the
 * other is sharp: less blurred, it would still be visible there and count twice.
 */
export const frontBlurPx = 2.8;

/**
 * Free [px]: beside a depth edge the nearer surface takes precedence where the blur of either is wider than this while the other
 * is sharp: with less blur, both frames show much the same.
 */
export const nearBlurPx = 8;

// Restored contrast

/**
 * Free f32 [share]: largest relative gain of a coefficient: a larger one would amplify noise, and the loss is
 * estimated to second order only.
 */
export const maxRestored = 0.6;

// Coverage

/**
 * Derived i32 [1/64 of a step]: half of a long step: the largest distance of a depth index from the nearer of
 * its frames.
 */
export const halfStep = 32;

// Foreground blur spill

/**
 * Free [share]: share of the measured blur that spill is computed with: too wide a spill does harm, too
 * narrow a one leaves a little of it.
 */
export const blurShare = 0.75;

/** Effort [px]: largest radius in which spill is searched for. */
export const maxSpillPx = 256;

/**
 * Free [1/65535 of the light]: spill of a fiftieth of the light or more counts in the share of the picture
 * that is reported.
 */
export const plainShare = 0.02 * 65535;

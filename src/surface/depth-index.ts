import { indexOffset, maxStoredIndex } from '../model/constants/state.js';

/**
 * Depth indices, positions along the stack as fractional frame ordinals, in 16 bits: fixed-point numbers with as many
 * fraction bits as the length of the stack leaves. See assembly/curve-state.ts.
 */

/** Frames beyond the last that must be representable: `peakStrip` looks two units out, of two frames at most. */
const framesBeyond = 4;
/** Six bits serve all but very long stacks; below four, widths of the blend in 1/16 frame are no whole numbers. */
const maxFractionBits = 6;
export const minFractionBits = 4;

/** Fraction bits of the depth indices of a stack of so many frames. Throws RangeError when none serve. */
export function fractionBitsFor(frames: number): number {
  for (let bits = maxFractionBits; bits >= minFractionBits; bits--) {
    if ((frames + indexOffset + framesBeyond) * 2 ** bits <= maxStoredIndex) return bits;
  }
  throw new RangeError(`Expected a stack that 16 bits can index but received ${frames} frames`);
}

/** Frame ordinal (fractional) of a stored depth index. */
export function depthIndexOf(stored: number, fractionBits: number): number {
  return stored / 2 ** fractionBits - indexOffset;
}

/** A length in frames, in units of stored depth indices, rounded. */
export function storedLength(frames: number, fractionBits: number): number {
  return Math.round(frames * 2 ** fractionBits);
}

/**
 * Whether ordinals of the stack need a plane of their own beside the widths of the blend: the ten bits that those leave
 * hold 1023, more than any stack has that takes six fraction bits.
 */
export function needsFrontLayerPlane(fractionBits: number): boolean {
  return fractionBits < maxFractionBits;
}

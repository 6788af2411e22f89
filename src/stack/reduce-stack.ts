import type { Size } from '../image/image.js';
import type { PreviewFactor, Stack } from './frame.js';

/** Size of a frame of a preview: whole blocks of `factor` x `factor` pixels. */
export function previewSize({ width, height }: Size, factor: PreviewFactor | undefined): Size {
  if (factor === undefined) return { width, height };
  return { width: Math.floor(width / factor), height: Math.floor(height / factor) };
}

/** The stack with its frames at 1 / `factor` of their sides, for a preview: `decodeFrame` reduces them. */
export function reduceStack(stack: Stack, factor: PreviewFactor | undefined): Stack {
  if (factor === undefined) return stack;
  const reduced = { factor, fileSize: stack.size };
  const size = previewSize(stack.size, factor);
  return { ...stack, size, reduced, frames: stack.frames.map((frame) => ({ ...frame, size, reduced })) };
}

import { freemem, totalmem } from 'node:os';
import { InputError, named } from '../errors.js';
import type { Size } from '../image/image.js';
import { shrinkFor } from '../rail/stack-reading.js';

/** What the memory of a merge depends on: all of it is known from the headers of the files. */
export interface MergeLoad {
  /** Size of the frames, px. */
  size: Size;
  /** Bits of a sample of the frames. */
  bits: 8 | 16;
  frames: number;
  /** Size of the pictures in the files of a preview that are decoded as a whole before they are reduced. */
  decodedSize?: Size;
  /** Raw files that are developed to the disk first: frames are read from there to where they are worked on. */
  isStored?: boolean;
  /** Developing raw files while frames are merged, MB; absent where they are developed once and kept. */
  developMb?: number;
}

/**
 * Peak memory of a merge, MB, as the sum of its parts; calibrated on the peak resident set of merges of 0.01 to 150
 * megapixels, 4 to 200 frames and 1 to 32 threads, rounded up. Frames of 16 bits are twice as large while they are
 * decoded, read and written.
 */
export const memoryModel = {
  /** The program, and decoded frames that wait to be collected. */
  baseMb: 215,
  perThreadMb: 10,
  /** Scratch rows of each thread, by the frame's width. */
  perThreadAndKilopixelMb: 0.6,
  perFrameMb: 0.5,
  /** Of the frame as it is reduced to be aligned: see `shrinkFor`. */
  perReducedMegapixelMb: 32,
  perMegapixelMb: { 8: 64, 16: 78, stored: 65 },
  /** Of the files of a preview, where they are decoded as a whole: four at once, three samples a pixel. */
  perDecodedMegapixelMb: { 8: 12, 16: 24 },
} as const;

/** Peak memory of a merge in so many threads that keeps no decoded frame, MB, whole. */
export function memoryNeedMb(
  { size, bits, frames, decodedSize, isStored, developMb = 0 }: MergeLoad,
  threads: number,
): number {
  const model = memoryModel;
  const megapixels = megapixelsOf(size);
  const decoded = decodedSize ? megapixelsOf(decodedSize) : 0;
  const reduced = megapixels / shrinkFor(size) ** 2;
  return Math.ceil(
    model.baseMb +
      developMb +
      threads * (model.perThreadMb + (model.perThreadAndKilopixelMb * size.width) / 1000) +
      frames * model.perFrameMb +
      reduced * model.perReducedMegapixelMb +
      megapixels * model.perMegapixelMb[isStored ? 'stored' : bits] +
      decoded * model.perDecodedMegapixelMb[bits],
  );
}

function megapixelsOf({ width, height }: Size): number {
  return (width * height) / 1e6;
}

/** Bytes of a graphics processor's memory that a merge takes a pixel of a frame, beside frames, rounded up. */
const gpuPixelBytes = 100;

/** Bytes of a graphics processor's memory that a merge of frames of this size takes beside them, never less than it does. */
export function gpuMergeBytes({ width, height }: Size): number {
  return gpuPixelBytes * width * height;
}

/** Share of the free memory that a merge takes at most for the sake of speed, where no bound is given. */
const freeShare = 0.5;

/**
 * Bytes of decoded frames that a merge may keep between its passes: what its bound, by default half of the memory that is
 * free, leaves beside its need. More than there is free is never taken.
 */
export function keptFramesBytes(
  load: MergeLoad,
  threads: number,
  memoryMb: number | undefined,
  freeMb: number = freeMemoryMb(),
): number {
  const boundMb = Math.min(memoryMb ?? freeShare * freeMb, freeMb);
  return Math.max(0, boundMb - memoryNeedMb(load, threads)) * 1e6;
}

/** Memory that is free for this process, of the machine or of the container that holds it. */
function freeMemoryMb(): number {
  return (process.availableMemory?.() ?? freemem()) / 1e6;
}

/** The formula of `memoryNeedMb` in words, for people: made of the same numbers. */
export function memoryFormulaText(): string {
  const { baseMb, perThreadMb, perThreadAndKilopixelMb, perFrameMb, perReducedMegapixelMb, perMegapixelMb } =
    memoryModel;
  return `${baseMb} + threads x (${perThreadMb} + ${perThreadAndKilopixelMb} per 1000 pixels of width) + ${perFrameMb} a frame + ${perMegapixelMb[8]} a megapixel (${perMegapixelMb[16]} for 16 bits, ${perMegapixelMb.stored} for raw files) + ${perReducedMegapixelMb} a megapixel of the frame as it is aligned: divided by 64, 16 or 4, by the most that leaves 1.2 megapixels`;
}

/** Memory that this machine has, or the container that holds the process, MB. */
export function machineMemoryMb(): number {
  // A container without a bound reports none, or a number beyond any memory.
  const bound = process.constrainedMemory?.() || Infinity;
  return Math.floor(Math.min(bound, totalmem()) / 1e6);
}

/** The most threads up to `wanted` that keep a merge within its bound; undefined when not even one does. */
export function threadsWithin(
  load: MergeLoad,
  wanted: number,
  memoryMb: number | undefined,
  machineMb: number = machineMemoryMb(),
): number | undefined {
  const bound = memoryMb ?? machineMb;
  for (let threads = wanted; threads >= 1; threads--) {
    if (memoryNeedMb(load, threads) <= bound) return threads;
  }
  return undefined;
}

/**
 * Refuses frames that cannot be merged in the memory that is allowed, or, where no bound is given, in what the machine has,
 * before any pixel is read.
 *
 * @throws InputError
 */
export function refuseOversized(
  load: MergeLoad,
  memoryMb: number | undefined,
  machineMb: number = machineMemoryMb(),
): void {
  if (threadsWithin(load, 1, memoryMb, machineMb) !== undefined) return;
  const { size, bits, frames } = load;
  const need = `${frames} frames of ${size.width} x ${size.height} pixels of ${bits} bits need about ${memoryNeedMb(load, 1)} MB to merge`;
  throw new InputError(
    memoryMb === undefined
      ? `${need}, and this machine has ${machineMb} MB: merge them on one with more memory, or merge smaller pictures.`
      : `${need}, and ${memoryMb} MB are allowed: allow more with ${named('memoryMb')} or merge smaller pictures.`,
  );
}

import type { Size } from '../image/image.js';
import { memoryNeedMb, threadsWithin } from '../merge/memory-need.js';

/** What a merge will take, for the plan and for deciding what fits beside what. */
export interface StackNeeds {
  /** Wall time by the model alone, before it is corrected by what stacks took on this machine, ms. */
  modelMs: number;
  memoryMb: number;
  diskBytes: number;
  threads: number;
  /** Another stack may run beside it, with the other half of threads and memory. */
  isSmall?: boolean;
}

/**
 * Model of a merge, fitted to runs of Lamella itself on two cores (frames of 0.5 to 24 megapixels, 4 to 33 of
 * them): processor seconds = 1 + 1.8 per megapixel + 0.12 per megapixel and frame.
 */
const baseS = 1;
const pixelS = 1.8;
const frameS = 0.12;

/** Share of the work that more threads do not shorten. */
const serialShare = 0.3;

/** Frames below this gain little from more threads, megapixels. */
const smallMegapixels = 6;

/** Corrections beyond these are a machine that slept, not one that is slow. */
const minFactor = 0.02;
const greatestFactor = 50;

/** Runs from which the correction is taken. */
const runsKept = 20;

export interface StackFacts {
  size: Size;
  frames: number;
  channels: 1 | 3;
  bits: 8 | 16;
}

/** Resources that a batch may use. */
export interface Budget {
  threads: number;
  memoryMb: number;
}

/**
 * Needs of one merge. Small stacks take half of the threads, so that two can run side by side; that depends on the
 * stack alone, never on what else waits, so that a stack is merged in the same way whenever its turn comes.
 */
export function stackNeeds(stack: StackFacts, budget: Budget): StackNeeds {
  const megapixels = (stack.size.width * stack.size.height) / 1e6;
  const half = Math.floor(budget.threads / 2);
  const isSmall =
    megapixels <= smallMegapixels && half >= 1 && memoryNeedMb(stack, half) <= budget.memoryMb / 2;
  const threads = isSmall ? half : (threadsWithin(stack, budget.threads, budget.memoryMb) ?? 1);
  const memoryMb = memoryNeedMb(stack, threads);
  const workS = pixelS * megapixels + frameS * megapixels * stack.frames;
  return {
    modelMs: 1000 * (baseS + workS * (serialShare + (1 - serialShare) / threads)),
    memoryMb,
    diskBytes: diskOf(stack),
    threads,
    isSmall,
  };
}

/**
 * How much longer than by the model stacks take here: the median over the last runs, 1 when there were none.
 */
export function paceFactor(runs: readonly { wallMs: number; modelMs: number }[]): number {
  const ratios = runs
    .filter(({ wallMs, modelMs }) => wallMs > 0 && modelMs > 0)
    .slice(-runsKept)
    .map(({ wallMs, modelMs }) => wallMs / modelMs)
    .sort((a, b) => a - b);
  if (ratios.length === 0) return 1;
  return Math.min(greatestFactor, Math.max(minFactor, ratios[ratios.length >> 1]));
}

/** Upper bound of a result folder: all maps and the composite without compression, report and record. */
function diskOf({ size, channels, bits, frames }: StackFacts): number {
  const pixels = size.width * size.height;
  return Math.round(pixels * ((channels * bits) / 8 + 10) + Math.min(2e6, pixels) + 60_000 + frames * 2000);
}

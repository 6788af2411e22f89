import { LamellaError } from '../errors.js';
import { refuseOversized } from '../merge/memory-need.js';
import type { MergeOptions } from '../options/merge-options.js';
import { refusePositionCount } from '../rail/given-travel.js';
import { refuseTooManyFrames } from '../stack/frame-limit.js';
import { previewSize } from '../stack/reduce-stack.js';
import type { DiscoveredStack } from './discovered-stack.js';

/**
 * Why a merge would refuse a stack as it was found, so that it need not be started; undefined when it would not.
 *
 * @param positionsFrom Name of the file with the positions, where it is known.
 * @param machineMb Memory of the machine that merges; default this one's.
 */
export function whyRefused(
  found: DiscoveredStack,
  options: MergeOptions,
  positionsFrom: string | undefined,
  machineMb?: number,
): string | undefined {
  try {
    const numbers = frameNumbers(found, options);
    refuseTooManyFrames(found.folder, numbers);
    refusePositionCount({ ...found, photographs: found.frames, numbers }, options, positionsFrom);
    const size = previewSize(found.size, options.preview);
    refuseOversized({ size, bits: found.bits, frames: numbers.length }, options.memoryMb, machineMb);
    return undefined;
  } catch (error) {
    if (error instanceof LamellaError) return error.message;
    throw error;
  }
}

/** Numbers of the frames that the options keep. */
function frameNumbers({ frames: count, part }: DiscoveredStack, { frames, skip }: MergeOptions): number[] {
  const [first, last] = part ?? frames ?? [1, count];
  const skipped = new Set(skip);
  return Array.from({ length: last - first + 1 }, (_, i) => first + i).filter(
    (number) => !skipped.has(number),
  );
}

import { countOf, spanText } from '../stack/words.js';
import type { ResolvedBatch } from './batch-options.js';
import { timeLeft } from './choose-next.js';
import { bytesText, framesText } from './format-night.js';
import type { BatchPlan } from './plan-batch.js';

/** A plan in lines for people: partings, stacks with their needs, what is passed over, and the sum. */
export function planLines({ out, budget }: ResolvedBatch, plan: BatchPlan): string[] {
  const { tasks, faults, finished, damaged, passed, partings } = plan;
  const rows = tasks.map(({ planned, estimateMs, diskBytes, memoryMb }) => {
    const tight = memoryMb > budget.memoryMb ? `, may need ${memoryMb} MB of memory` : '';
    return `${planned.stack}: ${framesText(planned)}, about ${spanText(estimateMs)}, up to ${bytesText(diskBytes)}${tight}`;
  });
  const bytes = tasks.reduce((sum, { diskBytes }) => sum + diskBytes, 0);
  const before = finished.length > 0 ? `, ${finished.length} finished before` : '';
  const time = tasks.length > 0 ? `, about ${spanText(timeLeft(tasks, [], budget.threads))}` : '';
  return [
    ...partings,
    ...damaged,
    ...rows,
    ...faults.map(({ planned, reason }) => `${planned.stack}: cannot run: ${reason}`),
    ...passed
      .filter(({ unreadable }) => !unreadable)
      .map(({ folder, reason }) => `${folder} is no stack: ${reason}.`),
    `${countOf(tasks.length, 'stack')} to merge${before}${time}, up to ${bytesText(bytes)} in ${out}`,
  ];
}

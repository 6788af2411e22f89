import { rm } from 'node:fs/promises';
import { availableParallelism } from 'node:os';
import { join } from 'node:path';
import { alignTable } from '../align-table.js';
import { serialShare } from './amdahl.js';
import { type MergeRun, runMerge } from './merge-run.js';
import type { BenchOptions } from './options.js';
import { makeStacks } from './stack.js';

/** Numbers of threads, as far as the machine has cores for them. */
const threadCounts = [1, 2, 4, 8, 16];

/** One stack in 1 to 16 threads: seconds and speed-up of each stage, and its serial share by Amdahl's law. */
export async function benchScaling(cache: string, { size, frames, rules }: BenchOptions): Promise<void> {
  const [folder] = await makeStacks(cache, size, frames.slice(0, 1));
  const cores = availableParallelism();
  const counts = threadCounts.filter((threads) => threads <= Math.max(2, cores));
  if (cores < 16) console.error(`This machine has ${cores} cores: more threads than that are not tried.`);
  const out = join(cache, 'result');
  for (const rule of rules) {
    const runs: MergeRun[] = [];
    for (const threads of counts) {
      runs.push(await runMerge(folder, out, rule, ['--threads', String(threads), '--device', 'cpu']));
      await rm(out, { recursive: true });
    }
    const row = (name: string, timesS: readonly number[]): string[] => [
      name,
      ...timesS.map((time) => `${time.toFixed(2)} s (${(timesS[0] / time).toFixed(2)} x)`),
      `${(100 * serialShare(timesS.map((time, i) => ({ threads: counts[i], time })))).toFixed(0)} %`,
    ];
    const head = [`${rule}, ${frames[0]} frames`, ...counts.map((n) => `${n} threads`), 'serial share'];
    const names = Object.keys(runs[0].stagesMs);
    const stages = names.map((name) =>
      row(
        name,
        runs.map(({ stagesMs }) => (stagesMs[name] ?? 0) / 1000),
      ),
    );
    console.log(
      `${alignTable([
        head,
        ...stages,
        row(
          'whole process',
          runs.map(({ wallS }) => wallS),
        ),
      ])}\n`,
    );
  }
}

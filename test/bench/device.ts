import { rm } from 'node:fs/promises';
import { join } from 'node:path';
import { alignTable } from '../align-table.js';
import { compareResults } from '../gpu/compare-results.js';
import { type MergeRun, runMerge } from './merge-run.js';
import type { BenchOptions } from './options.js';
import { makeStacks } from './stack.js';
import { milliseconds, seconds } from './table.js';

/**
 * A stack, and its first frames alone, on the processor and on a graphics processor in turn, twice: seconds of the whole
 * process and of each stage, what a further frame takes, and how far the results differ. A first run on the device alone
 * is not counted: drivers keep what they have compiled.
 */
export async function benchDevice(cache: string, options: BenchOptions): Promise<void> {
  const { size, frames, rules, device } = options;
  const longest = frames.at(-1)!;
  const [folder] = await makeStacks(cache, size, [longest]);
  const out = (name: string) => join(cache, `result-${name}`);
  for (const rule of rules) {
    const merge = (name: string, of: string, count: number) =>
      runMerge(folder, out(name), rule, ['--device', of, '--frames', `1-${count}`]);
    const cold = await merge('device', device, frames[0]);
    console.log(`${rule}: the first run on the device, ${frames[0]} frames, took ${seconds(cold.wallS)}`);
    const rows: string[][] = [];
    const best = new Map<string, number>();
    for (const count of frames) {
      for (const of of ['cpu', device, 'cpu', device]) {
        const run = await merge(of === device ? 'device' : 'processor', of, count);
        rows.push(rowOf(`${of}, ${count} frames`, run));
        const key = `${of} ${count}`;
        best.set(key, Math.min(run.wallS, best.get(key) ?? Number.POSITIVE_INFINITY));
      }
    }
    const stages = ['list', 'register', 'focus', 'surface', 'blend', 'write'];
    console.log(alignTable([[rule, 'whole process', ...stages, 'processor time', 'peak memory'], ...rows]));
    for (const of of ['cpu', device]) {
      const [short, long] = [frames[0], longest].map((count) => best.get(`${of} ${count}`)!);
      if (longest > frames[0])
        console.log(`${of}: a further frame takes ${milliseconds((long - short) / (longest - frames[0]))}`);
    }
    const apart = await compareResults(out('processor'), out('device'));
    const percent = (share: number) => `${(100 * share).toFixed(3)} %`;
    console.log(
      `composite within 1 of 255: ${percent(apart.compositeWithin)}; depth, median difference: ${apart.depthMedian} steps; sources equal where confident: ${percent(apart.sourcesSame)}; coverage equal: ${percent(apart.coverageSame)}\n`,
    );
    await Promise.all(['processor', 'device'].map((name) => rm(out(name), { recursive: true })));
  }
}

function rowOf(name: string, { wallS, cpuS, peakMiB, stagesMs }: MergeRun): string[] {
  const stages = ['list', 'register', 'focus', 'surface', 'blend', 'write'];
  return [
    name,
    seconds(wallS),
    ...stages.map((stage) => seconds((stagesMs[stage] ?? 0) / 1000)),
    seconds(cpuS),
    `${peakMiB.toFixed(0)} MiB`,
  ];
}

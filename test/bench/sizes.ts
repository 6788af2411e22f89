import { rm } from 'node:fs/promises';
import { join } from 'node:path';
import { alignTable } from '../align-table.js';
import { runMerge } from './merge-run.js';
import type { BenchOptions } from './options.js';
import { makeStacks } from './stack.js';
import { seconds } from './table.js';

/** 24, 61, 100 and 150 megapixels, 3 : 2; the largest with 16 bits as well. */
const stacks = [
  { width: 6000, height: 4000, bits: 8 },
  { width: 9568, height: 6376, bits: 8 },
  { width: 12_248, height: 8164, bits: 8 },
  { width: 15_000, height: 10_000, bits: 8 },
  { width: 15_000, height: 10_000, bits: 16 },
] as const;

/** Short stacks of ever larger frames: seconds and memory, in all and a megapixel; what is refused says why. */
export async function benchSizes(cache: string, { frames, rules }: BenchOptions): Promise<void> {
  const out = join(cache, 'result');
  const rows: string[][] = [];
  for (const { bits, ...size } of stacks) {
    const megapixels = (size.width * size.height) / 1e6;
    const [folder] = await makeStacks(cache, size, frames.slice(0, 1), bits);
    for (const rule of rules) {
      const name = `${megapixels.toFixed(0)} MP, ${bits} bits, ${rule}, ${frames[0]} frames`;
      try {
        const { wallS, peakMiB } = await runMerge(folder, out, rule);
        const peakMb = (peakMiB * 2 ** 20) / 1e6;
        const perMegapixel = `${((1000 * wallS) / megapixels).toFixed(0)} ms`;
        rows.push([
          name,
          seconds(wallS),
          perMegapixel,
          `${peakMb.toFixed(0)} MB`,
          (peakMb / megapixels).toFixed(0),
        ]);
      } catch (error) {
        rows.push([name, 'not merged', '-', '-', '-']);
        console.error(
          `${name}: ${error instanceof Error ? error.message.split('\n').slice(1).join(' ').trim() : error}`,
        );
      }
      await rm(out, { recursive: true, force: true });
    }
    await rm(folder, { recursive: true });
  }
  console.log(alignTable([['frames', 'seconds', 'a megapixel', 'peak memory', 'MB a megapixel'], ...rows]));
}

import { spawnSync } from 'node:child_process';
import { rm, writeFile } from 'node:fs/promises';
import { basename, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { decodingSettings } from '../../src/cli/reuse-memory.js';
import { alignTable } from '../align-table.js';
import { timeDecoding } from './decode-alone.js';
import { runMerge } from './merge-run.js';
import type { BenchOptions } from './options.js';
import { findPython, peerRules, runPeer } from './peer.js';
import { makeStacks } from './stack.js';
import { ratio, seconds } from './table.js';
import { type Timeline, timelinePage } from './timeline.js';

const traced = fileURLToPath(new URL('./traced-merge.ts', import.meta.url));
const page = 'bench.html';

/**
 * Lamella and the peer in turn, on stacks of each length and by each rule, so that what else the machine does slows
 * both. Prints the table, and writes where the time of one merge of the longest stack but 30 frames goes.
 */
export async function benchAgainstPeer(cache: string, { size, frames, rules }: BenchOptions): Promise<void> {
  const folders = await makeStacks(cache, size, frames);
  const python = findPython();
  if (!python) console.error('The peer is skipped: no Python with OpenCV is found (Debian: python3-opencv).');
  const out = join(cache, 'result');
  const decoding = await timeDecoding(folders[0]);
  const rows: string[][] = [];
  for (const rule of rules) {
    for (const [i, folder] of folders.entries()) {
      const ours = await runMerge(folder, out, rule);
      await rm(out, { recursive: true });
      const theirs =
        python && rule in peerRules ? await runPeer(python, folder, join(cache, 'peer'), rule) : undefined;
      const stages = Object.entries(ours.stagesMs).map(([name, ms]) => `${name} ${(ms / 1000).toFixed(1)}`);
      console.error(`${rule}, ${basename(folder)}: ${seconds(ours.wallS)} (${stages.join(', ')})`);
      rows.push([
        `${rule}, ${frames[i]} frames`,
        seconds(ours.wallS),
        seconds(theirs?.wallS),
        theirs ? ratio(ours.wallS, theirs.wallS) : '-',
        seconds(ours.cpuS),
        seconds(theirs?.cpuS),
        megabytes(ours.peakMiB),
        theirs ? megabytes(theirs.peakMiB) : '-',
      ]);
    }
  }
  const head = ['', 'Lamella', 'peer', 'ratio', 'CPU', 'CPU of the peer', 'peak memory', 'of the peer'];
  console.log(`${alignTable([head, ...rows])}\n`);
  console.log(`Decoding alone, two at a time: ${seconds(decoding.wallS / frames[0])} a frame.`);
  const timelines = rules.flatMap((rule) =>
    folders.filter((_, i) => frames[i] <= 30).map((folder) => traceMerge(folder, out, rule)),
  );
  await rm(out, { recursive: true, force: true });
  await writeFile(page, timelinePage(timelines));
  console.log(`Where the time goes: ${page}`);
}

/** The timeline of a merge in a process of its own, with the settings that the program gives itself. */
function traceMerge(folder: string, out: string, rule: string): Timeline {
  const { status, stdout, stderr } = spawnSync(
    process.execPath,
    ['--import', 'tsx', traced, folder, out, rule],
    {
      encoding: 'utf8',
      maxBuffer: 1 << 30,
      env: { ...process.env, ...decodingSettings },
    },
  );
  if (status !== 0) throw new Error(`The merge of ${folder} by ${rule} ended with ${status}:\n${stderr}`);
  return { ...(JSON.parse(stdout) as Omit<Timeline, 'title'>), title: `${rule}, ${basename(folder)}` };
}

function megabytes(mebibytes: number): string {
  return Number.isNaN(mebibytes) ? '-' : `${((mebibytes * 2 ** 20) / 1e6).toFixed(0)} MB`;
}

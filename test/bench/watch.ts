import { type ChildProcess, spawn } from 'node:child_process';
import { mkdtemp, open, readdir, readFile, rm } from 'node:fs/promises';
import { availableParallelism, loadavg, tmpdir } from 'node:os';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import type { WatchEvent } from '../../src/watch/watch-events.js';
import { alignTable } from '../align-table.js';
import { makeStacks } from './stack.js';

const usage = `Usage: npm run bench:watch -- [--size WxH] [--frames N] [--every S]
Writes JPEG frames one after the other into a folder that lamella check --watch watches, each in two halves, and prints how
long after the last byte of each its verdict was there, and the memory of the program. Build first.
  --size WxH   size of the frames, px (default: 6000x4000)
  --frames N   how many arrive (default: 100)
  --every S    seconds from the beginning of one to that of the next (default: 2)`;

const { values } = parseArgs({
  options: {
    size: { type: 'string', default: '6000x4000' },
    frames: { type: 'string', default: '100' },
    every: { type: 'string', default: '2' },
    help: { type: 'boolean', default: false },
  },
});
const size = /^(\d+)x(\d+)$/.exec(values.size);
const frames = Number(values.frames);
const everyMs = 1000 * Number(values.every);
if (values.help || !size || !Number.isInteger(frames) || frames < 10 || !(everyMs > 0)) {
  console.error(usage);
  process.exit(values.help ? 0 : 2);
}
/** A frame that has no verdict so long after the last has come is not judged. */
const maxWaitMs = 60_000;
const cache = fileURLToPath(new URL('../../.cache/bench', import.meta.url));
const [source] = await makeStacks(cache, { width: Number(size[1]), height: Number(size[2]) }, [frames]);
const folder = await mkdtemp(join(tmpdir(), 'lamella-watch-'));
const program = fileURLToPath(new URL('../../bin/lamella.js', import.meta.url));

/** When each file was whole, and when its verdict came, by name. */
const wholeMs = new Map<string, number>();
const waitedS = new Map<string, number>();
const memoryMiB: number[] = [];
const processorS: number[] = [];
const child = spawn(process.execPath, [program, 'check', folder, '--watch', '--json'], {
  stdio: ['ignore', 'pipe', 'inherit'],
});
createInterface({ input: child.stdout }).on('line', (line) => void onEvent(JSON.parse(line) as WatchEvent));
try {
  await new Promise((resolve) => setTimeout(resolve, 2000));
  for (const name of (await readdir(source)).sort()) {
    const started = performance.now();
    await writeInHalves(join(source, name), join(folder, name));
    wholeMs.set(name, performance.now());
    await new Promise((resolve) => setTimeout(resolve, everyMs - (performance.now() - started)));
  }
  const end = performance.now() + maxWaitMs;
  while (waitedS.size < wholeMs.size && performance.now() < end) {
    await new Promise((resolve) => setTimeout(resolve, 200));
  }
  print();
} finally {
  child.kill('SIGINT');
  await rm(folder, { recursive: true, force: true });
}

async function onEvent(event: WatchEvent): Promise<void> {
  if (event.event !== 'frame') return;
  waitedS.set(event.name, (performance.now() - (wholeMs.get(event.name) ?? Number.NaN)) / 1000);
  const use = await useOf(child);
  memoryMiB.push(use.memoryMiB);
  processorS.push(use.processorS);
}

/** Memory that a process has at present, and processor time so far (proc(5)); NaN where the system does not tell. */
async function useOf({ pid }: ChildProcess): Promise<{ memoryMiB: number; processorS: number }> {
  const read = (name: string) => readFile(`/proc/${pid}/${name}`, 'utf8').catch(() => '');
  const [status, stat] = await Promise.all([read('status'), read('stat')]);
  const fields = stat.slice(stat.lastIndexOf(')') + 2).split(' ');
  return {
    memoryMiB: Number(/^VmRSS:\s+(\d+) kB$/m.exec(status)?.[1]) / 1024,
    processorS: (Number(fields[11]) + Number(fields[12])) / 100,
  };
}

async function writeInHalves(from: string, to: string): Promise<void> {
  const bytes = await readFile(from);
  const handle = await open(to, 'wx');
  await handle.write(bytes.subarray(0, bytes.length / 2));
  await new Promise((resolve) => setTimeout(resolve, 150));
  await handle.write(bytes.subarray(bytes.length / 2));
  await handle.close();
}

function print(): void {
  const waits = [...wholeMs.keys()].map((name) => waitedS.get(name) ?? Number.NaN);
  const missing = waits.filter(Number.isNaN).length;
  console.log(
    `${frames} frames of ${values.size}, one every ${values.every} s; ${availableParallelism()} cores, load ${loadavg()[0].toFixed(1)}, Node ${process.version}\n`,
  );
  const parts = [0, 1, 2, 3, 4].map((part) => Math.floor((part * frames) / 5));
  const row = (from: number, to: number) => {
    const own = waits
      .slice(from, to)
      .filter((wait) => !Number.isNaN(wait))
      .sort((one, other) => one - other);
    const at = (share: number) => `${own[Math.floor(share * (own.length - 1))]?.toFixed(2)} s`;
    const memory = Math.max(...memoryMiB.slice(from, to));
    const used = processorS.slice(Math.max(0, from - 1), to);
    const each = (used[used.length - 1] - used[0]) / (used.length - 1);
    return [
      `${from + 1} to ${to}`,
      at(0.5),
      at(0.95),
      at(1),
      `${each.toFixed(2)} s`,
      `${memory.toFixed(0)} MiB`,
    ];
  };
  console.log(
    alignTable([
      ['frames', 'verdict after: median', '95 %', 'longest', 'processor time a frame', 'memory, most'],
      ...parts.map((from, i) => row(from, parts[i + 1] ?? frames)),
      row(0, frames),
    ]),
  );
  console.log(missing === 0 ? '\nEvery frame was judged.' : `\n${missing} frames were not judged.`);
}

import { execFile } from 'node:child_process';
import { existsSync } from 'node:fs';
import { mkdir, rename, writeFile } from 'node:fs/promises';
import { availableParallelism, loadavg } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { parseArgs, promisify } from 'node:util';
import { createRandom } from '../../samples/random.js';
import { median } from '../../src/image/median.js';
import { developFrame, type RawFrame } from '../../src/stack/raw/develop-raw.js';
import { inspectRaw } from '../../src/stack/raw/inspect-raw.js';
import { rawWorkers } from '../../src/stack/raw/raw-workers.js';
import { alignTable } from '../align-table.js';
import { buildDng, mosaicOf } from '../stack/raw/dng.js';

const usage = `Usage: npm run bench:raw -- [--size WxH] [--rounds N] [--half]
Develops a DNG of its own by one worker, and has dcraw_emu of LibRaw (Debian package libraw-bin) develop it in turn on one
thread with the same settings, its picture thrown away. Prints processor time: what else runs on the machine counts little.
Build first.
  --size WxH  size of the DNG, px (default: 6000x4000)
  --rounds N  rounds, each with a new worker that develops three times (default: 4)
  --half      at half size, as a check does; dcraw_emu with -h`;

const { values } = parseArgs({
  options: {
    size: { type: 'string', default: '6000x4000' },
    rounds: { type: 'string', default: '4' },
    half: { type: 'boolean', default: false },
    help: { type: 'boolean', default: false },
  },
});
const size = /^(\d+)x(\d+)$/.exec(values.size);
const rounds = Number(values.rounds);
if (values.help || !size || !Number.isInteger(rounds) || rounds < 1) {
  console.error(usage);
  process.exit(values.help ? 0 : 2);
}
const timesAWorker = 3;

/** A DNG of 14 bits with edges, shades and noise: the interpolation of the mosaic takes longer where there is detail. */
async function makeDng(width: number, height: number): Promise<string> {
  const folder = fileURLToPath(new URL('../../.cache/bench', import.meta.url));
  const path = join(folder, `raw-${width}x${height}.dng`);
  if (existsSync(path)) return path;
  const random = createRandom(1, 'bench raw');
  const linear = new Float32Array(width * height * 3);
  for (let y = 0, i = 0; y < height; y++) {
    for (let x = 0; x < width; x++, i += 3) {
      const shade = 0.3 + 0.2 * Math.sin(x / 97) * Math.cos(y / 131);
      const isStripe = ((x + y) >> 5) % 7 === 0;
      for (let c = 0; c < 3; c++) {
        linear[i + c] = shade * (isStripe ? 0.3 : 1) * (1 - 0.2 * c) + 0.02 * random.unit();
      }
    }
  }
  const levels = { blackLevel: 512, whiteLevel: 16_383 };
  const mosaic = mosaicOf(linear, width, height, 'RGGB', levels.blackLevel, levels.whiteLevel);
  await mkdir(folder, { recursive: true });
  await writeFile(`${path}.aside`, buildDng({ width, height, mosaic, bits: 14, ...levels }));
  await rename(`${path}.aside`, path);
  return path;
}

/** Processor seconds that developing takes here. */
async function ours(frame: RawFrame): Promise<number> {
  const before = process.cpuUsage();
  await developFrame(frame, values.half);
  const { user, system } = process.cpuUsage(before);
  return (user + system) / 1e6;
}

/** Processor seconds of dcraw_emu: those of the children of a shell (POSIX, `times`). */
async function theirs(path: string): Promise<number> {
  const settings = ['-w', '-W', '-6', '-o', '1', '-g', '2.4', '12.92', '-q', '3', '-c', '0', '-T'];
  const args = [...settings, ...(values.half ? ['-h'] : []), '-Z', '/dev/null', path];
  const { stdout } = await promisify(execFile)('sh', ['-c', 'dcraw_emu "$@" && times', 'sh', ...args], {
    env: { ...process.env, OMP_NUM_THREADS: '1' },
  });
  const children = stdout.trim().split('\n').at(-1) ?? '';
  return [...children.matchAll(/(\d+)m([\d.]+)s/g)].reduce(
    (sum, [, minutes, seconds]) => sum + 60 * Number(minutes) + Number(seconds),
    0,
  );
}

const path = await makeDng(Number(size[1]), Number(size[2]));
const [folder, name] = [join(path, '..'), path.slice(path.lastIndexOf('/') + 1)];
const inspected = await inspectRaw(folder, name, 1e9);
if (inspected.kind !== 'photograph' || !inspected.photograph.raw) throw new Error(`${name} cannot be read`);
const frame: RawFrame = { number: 1, name, path, raw: inspected.photograph.raw };
const here: number[][] = Array.from({ length: timesAWorker }, () => []);
const there: number[] = [];
// The first run of all reads from the disk.
await theirs(path);
/** In this one LibRaw is still being compiled to its fast form; all workers of a program share that. */
const first = await ours(frame);
for (let round = 0; round < rounds; round++) {
  await rawWorkers.endIdle();
  for (const times of here) {
    times.push(await ours(frame));
    there.push(await theirs(path));
  }
}
await rawWorkers.endIdle();
const middle = (times: readonly number[]): number => median(Float64Array.from(times));
const reference = middle(there);
const row = (what: string, times: readonly number[]): string[] => [
  what,
  `${middle(times).toFixed(2)} s`,
  `${Math.min(...times).toFixed(2)} to ${Math.max(...times).toFixed(2)} s`,
  (middle(times) / reference).toFixed(2),
];
console.log(
  `${name}${values.half ? ', half size' : ''}; ${availableParallelism()} cores, load ${loadavg()[0].toFixed(1)}, Node ${process.version}\n`,
);
console.log(
  alignTable([
    ['processor time', 'median', 'all', 'ratio'],
    row('dcraw_emu', there),
    row('here, first file of the program', [first]),
    ...here.map((times, k) => row(`here, file ${k + 1} of a worker`, times)),
  ]),
);
process.exit(0);

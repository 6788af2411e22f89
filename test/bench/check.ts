import { availableParallelism, loadavg } from 'node:os';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import { check } from '../../src/check/check.js';
import type { CheckReport } from '../../src/check/check-report.js';
import { alignTable } from '../align-table.js';
import { timeDecoding } from './decode-alone.js';
import { makeStacks } from './stack.js';
import { ratio, seconds } from './table.js';

const usage = `Usage: npm run bench:check -- [--folder FOLDER | --size WxH --frames N]
Times lamella check against decoding the same JPEG frames, reduced to a quarter, in the same run, before and after it.
Build first: the kernels are those of dist.
  --folder FOLDER  photographs of your own (default: a stack made for the purpose)
  --size WxH       size of the frames that are made, px (default: 6000x4000)
  --frames N       how many are made (default: 24)`;

const { values } = parseArgs({
  options: {
    folder: { type: 'string' },
    size: { type: 'string', default: '6000x4000' },
    frames: { type: 'string', default: '24' },
    help: { type: 'boolean', default: false },
  },
});
const size = /^(\d+)x(\d+)$/.exec(values.size);
const frames = Number(values.frames);
if (values.help || !size || !Number.isInteger(frames) || frames < 4) {
  console.error(usage);
  process.exit(values.help ? 0 : 2);
}
const cache = fileURLToPath(new URL('../../.cache/bench', import.meta.url));
const made = { width: Number(size[1]), height: Number(size[2]) };
const folder = values.folder ?? (await makeStacks(cache, made, [frames]))[0];

/** Seconds that an action takes, and seconds of all cores that it takes up. */
async function timed(action: () => Promise<unknown>): Promise<{ wallS: number; cpuS: number }> {
  const started = performance.now();
  const before = process.cpuUsage();
  await action();
  const { user, system } = process.cpuUsage(before);
  return { wallS: (performance.now() - started) / 1000, cpuS: (user + system) / 1e6 };
}

/** Decoding alone, reduced as far as the first look reduces frames of 20 to 76 megapixels. */
const decodeAlone = () => timed(() => timeDecoding(folder, 4));

// The first run of all would pay for reading from the disk.
await decodeAlone();
const before = await decodeAlone();
let report: CheckReport | undefined;
const started = performance.now();
let firstLookS = 0;
const onProgress = (done: number, all: number) => {
  if (done === all) firstLookS = (performance.now() - started) / 1000;
};
const whole = await timed(async () => {
  report = await check(folder, {}, { onProgress });
});
const after = await decodeAlone();
const decode = { wallS: (before.wallS + after.wallS) / 2, cpuS: (before.cpuS + after.cpuS) / 2 };
const count = report?.frames.length ?? 0;
const row = (name: string, wallS: number, cpuS: number) => [
  name,
  seconds(wallS),
  seconds((100 * wallS) / count),
  ratio(wallS, decode.wallS),
  seconds(cpuS),
  ratio(cpuS, decode.cpuS),
];
console.log(
  `${count} frames of ${report?.size.width} x ${report?.size.height}, ${availableParallelism()} cores, ` +
    `load ${loadavg()[0].toFixed(1)}, Node ${process.version}\n`,
);
console.log(
  alignTable([
    ['', 'time', 'per 100 frames', '/ decoding', 'CPU', '/ decoding'],
    row('decoding alone, reduced, two at a time', decode.wallS, decode.cpuS),
    row('check: until all frames are read', firstLookS, Number.NaN),
    row('check: all', whole.wallS, whole.cpuS),
  ]),
);

import { readdir, rm } from 'node:fs/promises';
import { availableParallelism, loadavg } from 'node:os';
import { basename, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import sharp from 'sharp';
import { timeDecoding } from './decode-alone.js';
import { type MergeRun, runMerge } from './merge-run.js';
import { timeOpenCv } from './opencv-kernels.js';
import { type BenchOptions, readOptions, usage } from './options.js';
import { timeOurKernels } from './our-kernels.js';
import { makeStacks } from './stack.js';
import { alignTable, milliseconds, ratio, seconds } from './table.js';

const cache = fileURLToPath(new URL('../../.cache/bench', import.meta.url));

let options: BenchOptions | undefined;
try {
  options = readOptions();
} catch (error) {
  console.error(`${error instanceof Error ? error.message : error}\n${usage}`);
  process.exit(2);
}
if (!options) {
  console.log(usage);
  process.exit(0);
}
const { size, frames, rules } = options;
const [short, long] = frames;
const megapixels = (size.width * size.height) / 1e6;
const folders = await makeStacks(cache, size, frames);
const machine = `${availableParallelism()} cores, load ${loadavg()[0].toFixed(1)} before the start`;
console.log(`${megapixels.toFixed(1)} megapixels a frame, ${machine}, Node ${process.version}
`);

// Decoded between the merges, so that what else the machine does slows both.
const decodings: { wallS: number; cpuS: number }[] = [];
const merges: { rule: string; runs: MergeRun[] }[] = [];
for (const rule of rules) {
  const runs: MergeRun[] = [];
  for (const folder of folders) {
    decodings.push(await timeDecoding(folders[0]));
    const out = join(cache, 'result');
    const run = await runMerge(folder, out, rule);
    console.error(
      `${rule}, ${basename(folder)}: ${seconds(run.wallS)}, CPU ${seconds(run.cpuS)}, ${run.peakMiB.toFixed(0)} MiB`,
    );
    runs.push(run);
    await rm(out, { recursive: true });
  }
  merges.push({ rule, runs });
}
const decoding = {
  wallS: mean(decodings.map(({ wallS }) => wallS)) / short,
  cpuS: mean(decodings.map(({ cpuS }) => cpuS)) / short,
};
const table = [
  [
    'merge',
    `${short} frames`,
    `${long} frames`,
    'a further frame',
    '/ decoding',
    'MP x frames / s',
    'CPU a further frame',
    '/ decoding',
    `peak memory, ${short} frames`,
    `${long} frames`,
  ],
  [
    'decoding alone, two at a time',
    seconds(decoding.wallS * short),
    '-',
    seconds(decoding.wallS),
    '1.00 x',
    rate(decoding.wallS),
    seconds(decoding.cpuS),
    '1.00 x',
    '-',
    '-',
  ],
  ...merges.map(({ rule, runs }) => {
    const further = (runs[1].wallS - runs[0].wallS) / (long - short);
    const cpu = (runs[1].cpuS - runs[0].cpuS) / (long - short);
    return [
      rule,
      seconds(runs[0].wallS),
      seconds(runs[1].wallS),
      seconds(further),
      ratio(further, decoding.wallS),
      rate(further),
      seconds(cpu),
      ratio(cpu, decoding.cpuS),
      ...runs.map(({ peakMiB }) => (Number.isNaN(peakMiB) ? '-' : `${peakMiB.toFixed(0)} MiB`)),
    ];
  }),
];
const stages = merges.flatMap(({ rule, runs }) => stageRows(rule, runs));
console.log(`${alignTable(table)}\n`);
console.log(
  `${alignTable([['stage', `${short} frames`, 'share', `${long} frames`, 'share', 'a further frame'], ...stages])}\n`,
);
console.log(alignTable(await pictureRows()));

function mean(values: readonly number[]): number {
  return values.reduce((sum, value) => sum + value, 0) / values.length;
}

function rate(secondsPerFrame: number): string {
  return (megapixels / secondsPerFrame).toFixed(1);
}

/** Time and share of each stage, and what it adds for each further frame. */
function stageRows(rule: string, runs: readonly MergeRun[]): string[][] {
  const names = [...new Set(runs.flatMap(({ stagesMs }) => Object.keys(stagesMs)))];
  return names.map((name) => {
    const took = runs.map(({ stagesMs }) => (stagesMs[name] ?? 0) / 1000);
    const cells = runs.flatMap(({ wallS }, i) => [
      seconds(took[i]),
      `${((100 * took[i]) / wallS).toFixed(0)} %`,
    ]);
    return [`${rule} ${name}`, ...cells, seconds((took[1] - took[0]) / (long - short))];
  });
}

/** One picture through single steps, ours beside OpenCV's. */
async function pictureRows(): Promise<string[][]> {
  const [first] = (await readdir(folders[0])).sort();
  const pixels = await sharp(join(folders[0], first)).raw().toBuffer();
  const bytes = await timeOpenCv(pixels, size, '8-bit');
  const floats = await timeOpenCv(pixels, size, 'float');
  const one = await timeOurKernels(pixels, size, 1);
  const two = await timeOurKernels(pixels, size, 2);
  const steps = [
    ['reduce', 'reduce (reduceFrameStrip | pyrDown)'],
    ['warp', 'warp (warpStrip, 6 taps | warpAffine, cubic)'],
    ['expand', 'expand (collapseStrip | pyrUp)'],
  ] as const;
  return [
    [
      'one picture',
      'ours, 1 thread',
      '2 threads',
      'OpenCV 8-bit',
      'OpenCV float',
      'float / 1 thread',
      'float / 2 threads',
    ],
    ...steps.map(([step, name]) => [
      name,
      ...[one, two, bytes, floats].map((times) => milliseconds(times[step])),
      ratio(floats[step], one[step]),
      ratio(floats[step], two[step]),
    ]),
  ];
}

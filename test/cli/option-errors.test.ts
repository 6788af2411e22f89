import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { beforeEach, describe, expect, it } from 'vitest';
import { batchOptionTable } from '../../src/batch/batch-options.js';
import { commands } from '../../src/cli/commands.js';
import { flagName } from '../../src/cli/flag-names.js';
import { runCli } from '../../src/cli/run.js';
import {
  applyMends,
  check,
  merge,
  type PlanOptions,
  plan,
  readRunRecord,
  readStack,
  runBatch,
  serveResult,
  traceRegion,
  UsageError,
} from '../../src/index.js';
import { mergeOptionTable } from '../../src/options/merge-option-table.js';
import { planOptionTable } from '../../src/plan/option-table.js';
import { makeResult } from '../mend/made-result.js';
import { fakeSystem } from './fake-system.js';

let result: string;
let frames: string;

beforeEach(async () => {
  const made = await makeResult();
  result = made.folder;
  frames = join(result, '..', 'three');
  mkdirSync(frames);
  const pixels = sharp({ create: { width: 80, height: 80, channels: 3, background: '#456' } }).png();
  for (const name of ['a.png', 'b.png', 'c.png']) writeFileSync(join(frames, name), await pixels.toBuffer());
});

const lens: Partial<PlanOptions> = {
  sensor: 'aps-c',
  pixels: 24e6,
  depthMm: 2,
  fNumber: 5.6,
  magnification: 2,
};
const region = { x: 0, y: 0, width: 1, height: 1 };
const mend = { id: 1, frame: 1, featherPx: 40, note: '', kept: true };
const rectangle = { kind: 'rectangle', ...region } as const;

/** Calls with a value that the option does not take, by the option. */
const refused: [option: string, value: unknown, call: () => unknown][] = [
  ['stepMm', -1, () => merge(frames, { stepMm: -1 })],
  ['folder', '', () => merge('', {})],
  ['out', '', () => merge(frames, { out: '' })],
  ['anchor', 9, () => merge(frames, { anchor: 9 })],
  ['positionsMm', [0, 1], () => merge(frames, { positionsMm: [0, 1] })],
  ['skip', 7, () => merge(frames, { skip: [7] })],
  ['frames', [1, 8], () => readStack(frames, { frames: [1, 8] })],
  ['skip', 0.5, () => readStack(frames, { skip: [0.5] })],
  ['magnification', 0, () => check(frames, { magnification: 0, pixelPitchUm: 4 })],
  ['fNumber', 0, () => plan({ ...lens, fNumber: 0 })],
  ['fNumber', 0.5, () => plan({ ...lens, fNumber: 0.5, fNumberIs: 'effective' })],
  ['depthMm', 10_000, () => plan({ ...lens, depthMm: 10_000, stepMm: 0.0001 })],
  ['nice', 20, () => runBatch(frames, { nice: 20 })],
  ['until', '25:00', () => runBatch(frames, { until: '25:00' })],
  ['splitGapS', 0, () => runBatch(frames, { split: true, splitGapS: 0 })],
  ['settleS', 0, () => runBatch(frames, { settleS: 0 })],
  ['priority', 0, () => runBatch(frames, { queue: 'redis://127.0.0.1:9', priority: 0 })],
  ['root', '', () => runBatch('', {})],
  ['region', { ...region, x: 5000 }, () => traceRegion(result, { ...region, x: 5000 })],
  ['region', { ...region, y: -1 }, () => traceRegion(result, { ...region, y: -1 })],
  ['region', { ...region, width: 0 }, () => traceRegion(result, { ...region, width: 0 })],
  ['region', { ...region, x: 0.5 }, () => traceRegion(result, { ...region, x: 0.5 })],
  ['port', 70_000, () => serveResult(result, { port: 70_000 })],
  ['port', 0.5, () => serveResult(result, { port: 0.5 })],
  ['mends[0].featherPx', 1001, () => applyMends(result, [{ ...mend, region: rectangle, featherPx: 1001 }])],
  ['mends[0].region.width', 0, () => applyMends(result, [{ ...mend, region: { ...rectangle, width: 0 } }])],
  [
    'mends',
    1,
    () =>
      applyMends(result, [
        { ...mend, region: rectangle },
        { ...mend, region: rectangle },
      ]),
  ],
];

describe('the library', () => {
  it.each(refused)('refuses a value of %s by name, range and value: %j', async (option, value, call) => {
    const error = await refusalOf(call);
    expect(error).toMatchObject({ option, value, exitCode: 2 });
    expect(error.range).toMatch(/./);
    expect(error.message).toContain(`Expected ${error.range} for ${option} but received `);
    expect(error.message).not.toMatch(/--[a-z]/);
  });

  it('says of a region outside the picture where the picture ends', async () => {
    const { size } = await readRunRecord(result);
    const error = await refusalOf(() => traceRegion(result, { ...region, x: size.width }));
    expect(error.message).toBe(
      `Expected whole pixels inside the picture of ${size.width} x ${size.height} pixels for region but received ` +
        `${size.width},0,1,1: x runs from 0 to ${size.width - 1}, y from 0 to ${size.height - 1}`,
    );
  });

  it('names fields where options contradict each other', async () => {
    const error = await refusalOf(() => merge(frames, { stepMm: 1, positionsMm: [0, 1] }));
    expect(error.message).toBe('Expected stepMm or positionsMm but received both: keep one of them.');
    expect(error.option).toBeUndefined();
  });
});

describe('the command line', () => {
  it.each([
    [
      ['merge', 'FRAMES', '--anchor', '9'],
      'Expected a frame that is in use, of 1 to 3, for --anchor but received 9',
    ],
    [['merge', 'FRAMES', '--step', '1', '--field-width', '0'], 'for --field-width but received 0'],
    [['merge', 'FRAMES', '--frames', '1-8'], 'for --frames but received 1-8'],
    [['merge', ''], 'Expected the path of a folder for the folder but received an empty text'],
    [['batch', 'FRAMES', '--split-gap', '10'], 'Expected --split beside --split-gap and --split-by'],
    [['batch', 'FRAMES', '--nice', '20'], 'Expected a whole number from 0 to 19 for --nice but received 20'],
    [['trace', 'RESULT', '5000,0'], 'for the region but received 5000,0,1,1: x runs from 0 to'],
    [['trace', 'RESULT', 'here'], 'Expected X,Y or X,Y,W,H in whole pixels for the region but received here'],
    [['mend', 'RESULT', '--add', 'frame=1', '--region', 'here'], 'for --region but received here'],
    [['plan', '--na', '2', '--magnification', '10'], 'for --na but received 2: in air'],
  ])('calls options by their flags: %j', async (args, words) => {
    const system = fakeSystem(merge);
    const given = args.map((arg) => (arg === 'FRAMES' ? frames : arg === 'RESULT' ? result : arg));
    expect(await runCli(given, '1.2.3', system)).toBe(2);
    expect(system.stderr.text).toContain(words);
  });

  it('has a flag for every field', () => {
    const made = commands.map((make) => make(fakeSystem(merge)));
    for (const table of [mergeOptionTable, planOptionTable, batchOptionTable]) {
      for (const field of Object.keys(table)) {
        const flags = made.flatMap(({ options }) => options).filter((flag) => flag.attributeName() === field);
        expect(new Set(flags.map(({ long }) => long))).toEqual(new Set([flagName(field)]));
      }
    }
    const fields = [
      'splitBy',
      'splitGapS',
      'settleS',
      'featherPx',
      'until',
      'framesFrom',
      'out',
      'overwrite',
    ];
    expect(fields.map((field) => flagName(field))).toEqual([
      '--split-by',
      '--split-gap',
      '--settle',
      '--feather',
      '--until',
      '--frames-from',
      '--out',
      '--overwrite',
    ]);
  });
});

async function refusalOf(call: () => unknown): Promise<UsageError> {
  try {
    await call();
  } catch (error) {
    expect(error).toBeInstanceOf(UsageError);
    return error as UsageError;
  }
  return expect.fail('nothing was refused');
}

import { cpSync, existsSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { flagName } from '../../src/cli/flag-names.js';
import { mergeOptionTable } from '../../src/options/merge-option-table.js';
import { planOptionTable } from '../../src/plan/option-table.js';
import { seededRandom } from '../outside/seeded-random.js';
import { type Ended, misbehaviour, runCommand } from './command.js';
import {
  below,
  fileDamages,
  jsonDamages,
  junk,
  pick,
  pictureDamages,
  type Random,
  renameOddly,
} from './damage.js';
import { changedPaths, digestOf, type Fixtures, mendArgs } from './fixtures.js';
import { runCases, type Tally, type TortureOptions, type Verdict } from './tally.js';

/** One bad input: what it is, the command that gets it, and the only path that may have changed when it succeeds. */
interface BadInput {
  what: string;
  args: string[];
  /** Absent: nothing may change at all. */
  mayChange?: string;
}

type MakeInput = (folder: string, fixtures: Fixtures, random: Random) => BadInput;

const makers: readonly MakeInput[] = [
  spoiltFrame,
  oddName,
  badOption,
  spoiltRecord,
  spoiltPicture,
  spoiltPositions,
  spoiltOptionsFile,
  spoiltJournal,
  badPlan,
  badTarget,
];

/** Gives commands what they cannot have been made for, and looks at how they end and at what lies there afterwards. */
export function tortureInputs(fixtures: Fixtures, options: TortureOptions): Promise<Tally> {
  return runCases('inputs', options, async (i) => {
    const random = seededRandom(options.seed * 1_000_003 + i * 7919);
    const folder = fixtures.makeCase();
    const { what, args, mayChange } = makers[i % makers.length](folder, fixtures, random);
    const originals = [fixtures.stack, fixtures.merged, fixtures.mended, fixtures.week, fixtures.weekMerged];
    const before = [folder, ...originals].map(digestOf);
    const ended = await runCommand(args, folder);
    const after = [folder, ...originals].map(digestOf);
    const changed = before.flatMap((digest, k) =>
      changedPaths(digest, after[k]).filter(
        (path) => k > 0 || !hasResult(ended) || mayChange === undefined || !isWithin(path, mayChange),
      ),
    );
    const wrong = await judge(ended, args, changed, join(folder, 'out'));
    return { what: `${what} (lamella ${args.join(' ').replace(/\n/g, '\\n')})`, wrong };
  });
}

/** Done, or complete but to be looked at, for many frames were left out. */
function hasResult({ code }: Ended): boolean {
  return code === 0 || code === 6;
}

/** A batch keeps its journal and pages also when a stack fails. */
const unfitCommands = ['check', 'batch'];

async function judge(
  ended: Ended,
  args: readonly string[],
  changed: string[],
  out: string,
): Promise<Verdict> {
  const fault = misbehaviour(ended, args);
  if (fault !== undefined) return fault;
  if (ended.code === 1 && !unfitCommands.includes(args[0]))
    return `exit code 1: ${ended.stderr.slice(0, 200)}`;
  const strays = args[0] === 'batch' ? changed.filter((path) => !isWithin(path, '/week-out')) : changed;
  if (strays.length > 0) return `exit code ${ended.code}, and changed ${strays.slice(0, 5).join(', ')}`;
  if (args[0] === 'merge' && hasResult(ended) && existsSync(out)) return wholeResult(out);
  return undefined;
}

/** Whether a result that a merge calls done is one. */
async function wholeResult(out: string): Promise<Verdict> {
  try {
    const { size, composite } = JSON.parse(readFileSync(join(out, 'run.json'), 'utf8'));
    for (const file of [composite.file, 'depth.tif', 'sources.png', 'confidence.png', 'coverage.png']) {
      const { info } = await sharp(join(out, file)).raw().toBuffer({ resolveWithObject: true });
      if (info.width !== size.width || info.height !== size.height) return `${file} is of another size`;
    }
    return undefined;
  } catch (error) {
    return `no whole result: ${error instanceof Error ? error.message : String(error)}`;
  }
}

function isWithin(path: string, place: string): boolean {
  return path === place || path.startsWith(`${place}/`);
}

function copyStack(folder: string, { stack }: Fixtures): string {
  const own = join(folder, 'stack');
  cpSync(stack, own, { recursive: true });
  return own;
}

function spoiltFrame(folder: string, fixtures: Fixtures, random: Random): BadInput {
  const stack = copyStack(folder, fixtures);
  const words: string[] = [];
  for (let i = 0; i <= below(random, 2); i++) {
    const [told, spoil] = pick(random, pictureDamages);
    const name = pick(random, readdirSync(stack));
    try {
      spoil(join(stack, name), random);
      words.push(`a frame ${told}`);
    } catch {
      // It was spoilt beyond this already.
    }
  }
  if (random() < 0.4) return { what: words.join(', '), args: ['check', 'stack'] };
  const strict = random() < 0.3 ? ['--strict'] : [];
  return { what: words.join(', '), args: ['merge', 'stack', '--out', 'out', ...strict], mayChange: '/out' };
}

function oddName(folder: string, fixtures: Fixtures, random: Random): BadInput {
  const stack = copyStack(folder, fixtures);
  const [first, second] = readdirSync(stack);
  const odd = renameOddly(stack, random() < 0.5 ? first : second, random);
  const what = `a frame named ${JSON.stringify(odd)}`;
  if (random() < 0.4) return { what, args: ['check', 'stack', '--json'] };
  return { what, args: ['merge', 'stack', '--out', 'out'], mayChange: '/out' };
}

const strangeTexts = [
  ...[
    '',
    ' ',
    '0',
    '-1',
    '1e999',
    '-0',
    'NaN',
    'Infinity',
    'null',
    '99999999999999999999',
    '0.0000001',
    '1,5',
  ],
  ...[
    '5 kg',
    '5 mm mm',
    '1/0',
    '0/0',
    '1:0',
    '٣',
    'first',
    'middle',
    'auto',
    '1-',
    '-1-2',
    '3-1',
    '1-99999999',
  ],
  ...[
    '../../..',
    '/dev/null',
    '/',
    '~',
    '$(id)',
    "'; true",
    '<b>',
    '%s%n',
    '\u202e',
    '\ud83d\udc1d',
    'x'.repeat(5000),
  ],
];

function badOption(folder: string, fixtures: Fixtures, random: Random): BadInput {
  copyStack(folder, fixtures);
  cpSync(fixtures.merged, join(folder, 'merged'), { recursive: true });
  const value = pick(random, strangeTexts);
  const flagged = (flags: readonly string[]): string => {
    const flag = pick(random, flags);
    return random() < 0.15 ? flag : `${flag}=${value}`;
  };
  const mergeFlags = Object.keys(mergeOptionTable)
    .filter((field) => field !== 'threads')
    .map((field) => flagName(field));
  const [args, mayChange] = pick<() => [string[], string?]>(random, [
    () => [['merge', 'stack', '--out', 'out', flagged(mergeFlags)], '/out'],
    () => [['merge', 'stack', '--out', 'out', flagged(mergeFlags), flagged(mergeFlags)], '/out'],
    () => [['check', 'stack', flagged(mergeFlags)]],
    () => [['trace', 'merged', value, ...(random() < 0.5 ? ['--json'] : [])]],
    () => [['trace', 'merged', '5,5', flagged(['crops', 'frames-from', 'json', 'nonsense'])]],
    () => [
      [
        'mend',
        'merged',
        flagged(['add', 'region', 'feather', 'note', 'drop', 'keep', 'frames-from', 'list']),
      ],
    ],
    () => [['mend', 'merged', '--add', 'frame=3', '--region', value]],
    () => [['mend', 'merged', '--add', `frame=${value}`, '--region', '9,9,9,9']],
    () => [['view', 'stack', flagged(['port', 'frames-from'])]],
    () => [
      [
        'batch',
        'stack',
        '--out',
        'week-out',
        '--dry-run',
        flagged([...mergeFlags, 'split-gap', 'settle', 'until', 'nice', 'priority', 'split-by']),
      ],
    ],
    () => [['worker', '--queue', value, '--below', '.']],
    () => [[value, 'stack']],
    () => [['help', value]],
    () => [['merge', value]],
    () => [['check', value]],
  ])();
  return {
    what: `the value ${JSON.stringify(value.slice(0, 40))}`,
    args,
    ...(mayChange !== undefined && { mayChange }),
  };
}

function spoiltRecord(folder: string, fixtures: Fixtures, random: Random): BadInput {
  const isMended = random() < 0.6;
  const result = join(folder, 'out');
  cpSync(isMended ? fixtures.mended : fixtures.merged, result, { recursive: true });
  const files = isMended ? ['run.json', 'mends.json', 'unmended/run.json'] : ['run.json'];
  const file = pick(random, files);
  const [told, spoil] = pick(random, jsonDamages);
  spoil(join(result, file), random);
  return { what: `${file} ${told}`, ...resultCommand(fixtures, random) };
}

function spoiltPicture(folder: string, fixtures: Fixtures, random: Random): BadInput {
  const isMended = random() < 0.5;
  const result = join(folder, 'out');
  cpSync(isMended ? fixtures.mended : fixtures.merged, result, { recursive: true });
  const names = [
    'composite.tif',
    'depth.tif',
    'depth.png',
    'sources.png',
    'confidence.png',
    'coverage.png',
    'report.html',
  ];
  const name = pick(random, names);
  const file = isMended && random() < 0.5 ? `unmended/${name}` : name;
  const [told, spoil] = pick(random, pictureDamages);
  spoil(join(result, file), random);
  return { what: `${file} ${told}`, ...resultCommand(fixtures, random) };
}

/** A command on the result in `out`. */
function resultCommand({ stack }: Fixtures, random: Random): Omit<BadInput, 'what'> {
  return pick<Omit<BadInput, 'what'>>(random, [
    { args: ['trace', 'out', '20,20'] },
    { args: ['trace', 'out', '20,20,30,20', '--json'] },
    { args: ['mend', 'out', '--list'] },
    { args: ['mend', 'out', ...mendArgs], mayChange: '/out' },
    { args: ['mend', 'out', '--undo'], mayChange: '/out' },
    { args: ['mend', 'out', '--drop', '1'], mayChange: '/out' },
    { args: ['merge', stack, '--out', 'out', '--overwrite'], mayChange: '/out' },
    { args: ['merge', 'out', '--out', 'other'], mayChange: '/other' },
  ]);
}

function spoiltPositions(folder: string, fixtures: Fixtures, random: Random): BadInput {
  copyStack(folder, fixtures);
  const path = join(folder, 'rail.csv');
  writeFileSync(
    path,
    'frame,position_mm,done\r\n1,0,\r\n2,0.05,\r\n3,0.1,\r\n4,0.15,\r\n\r\n"Caution, ""bright""; light"\r\n',
  );
  const [told, spoil] = pick(random, [
    ...fileDamages,
    [
      'of random marks',
      (file: string) =>
        writeFileSync(
          file,
          Array.from({ length: 200 }, () => pick(random, [...'0123456789.,;\t\n"-e xframeposition'])).join(
            '',
          ),
        ),
    ] as const,
  ]);
  spoil(path, random);
  const what = `positions ${told}`;
  if (random() < 0.3) return { what, args: ['check', 'stack', '--positions', 'rail.csv'] };
  return { what, args: ['merge', 'stack', '--out', 'out', '--positions', 'rail.csv'], mayChange: '/out' };
}

function spoiltOptionsFile(folder: string, fixtures: Fixtures, random: Random): BadInput {
  cpSync(fixtures.week, join(folder, 'week'), { recursive: true });
  const path = join(folder, 'week', random() < 0.5 ? 'lamella.json' : 'ant/lamella.json');
  writeFileSync(path, JSON.stringify({ stepMm: 0.05, rule: 'auto', skip: [1], fieldWidthMm: 12 }));
  const [told, spoil] = pick(random, jsonDamages);
  spoil(path, random);
  const dry = random() < 0.7 ? ['--dry-run'] : ['--threads', '1'];
  return { what: `lamella.json ${told}`, args: ['batch', 'week', '--out', 'week-out', ...dry] };
}

function spoiltJournal(folder: string, fixtures: Fixtures, random: Random): BadInput {
  cpSync(fixtures.weekMerged, join(folder, 'week-out'), { recursive: true });
  const path = join(folder, 'week-out', 'night-list.jsonl');
  const lines = readFileSync(path, 'utf8').split('\n').slice(0, -1);
  const at = below(random, lines.length);
  const [told, spoil] = pick<[string, () => void]>(random, [
    [
      'with a line of another kind',
      () => (lines[at] = pick(random, ['null', '{}', '[]', '1', '"x"', '{"event":"done"}'])),
    ],
    ['with half a line', () => (lines[at] = lines[at].slice(0, below(random, lines[at].length)))],
    ['without a line', () => lines.splice(at, 1)],
    ['with a line twice', () => lines.splice(at, 0, lines[at])],
    ['with junk in it', () => (lines[at] += junk(random, 60).toString('latin1'))],
    ['with lists of nothing', () => (lines[at] = lines[at].replace(/\[[^\]]*\]/, '[null]'))],
    ['with a field of nothing', () => (lines[at] = lines[at].replace(/:("[^"]*"|\d+)/, ':null'))],
  ]);
  spoil();
  writeFileSync(path, `${lines.join('\n')}\n`);
  const args =
    random() < 0.5
      ? ['batch', '--status', 'week-out']
      : ['batch', fixtures.week, '--out', 'week-out', '--threads', '1'];
  return { what: `a journal ${told}`, args };
}

function badPlan(_folder: string, _fixtures: Fixtures, random: Random): BadInput {
  const good = ['--magnification=2', '--f-number=5.6', '--sensor=aps-c', '--pixels=24MP', '--depth=3'];
  const flag = () => `${flagName(pick(random, Object.keys(planOptionTable)))}=${pick(random, strangeTexts)}`;
  const kept = good.filter(() => random() < 0.9);
  const args = [
    'plan',
    ...kept,
    flag(),
    ...(random() < 0.4 ? [flag()] : []),
    ...(random() < 0.3 ? ['--json'] : []),
  ];
  return { what: 'a plan', args };
}

/** Output files in the place of what was not given to be changed. */
function badTarget(folder: string, fixtures: Fixtures, random: Random): BadInput {
  const stack = copyStack(folder, fixtures);
  cpSync(fixtures.merged, join(folder, 'merged'), { recursive: true });
  const frame = pick(random, readdirSync(stack));
  cpSync(join(stack, frame), join(folder, 'holiday.png'));
  writeFileSync(join(folder, 'garden.html'), '<!doctype html><title>Garden</title>');
  const more = random() < 0.7 ? ['--overwrite'] : [];
  const plan = [
    'plan',
    '--magnification=2',
    '--f-number=5.6',
    '--sensor=aps-c',
    '--pixels=24MP',
    '--depth=3',
  ];
  return pick<BadInput>(random, [
    {
      what: 'crops over a frame',
      args: ['trace', 'merged', '5,5', '--frames-from', 'stack', '--crops', `stack/${frame}`, ...more],
    },
    { what: 'crops over a map', args: ['trace', 'merged', '5,5', '--crops', 'merged/sources.png', ...more] },
    { what: 'crops over a photograph', args: ['trace', 'merged', '5,5', '--crops', 'holiday.png', ...more] },
    {
      what: 'crops among the frames',
      args: ['trace', 'merged', '5,5', '--frames-from', 'stack', '--crops', 'stack/new.png'],
    },
    { what: 'a page over a report', args: ['check', 'stack', '--page', 'merged/report.html', ...more] },
    { what: 'a page among the frames', args: ['check', 'stack', '--page', 'stack/check.html'] },
    { what: 'a page over a page', args: ['check', 'stack', '--page', 'garden.html', ...more] },
    { what: 'a sheet over a page', args: [...plan, '--sheet', 'garden.html', ...more] },
    { what: 'a result over the frames', args: ['merge', 'stack', '--out', 'stack', ...more] },
    { what: 'a result over a folder', args: ['merge', 'stack', '--out', '.', ...more] },
    { what: 'a result over a file', args: ['merge', 'stack', '--out', 'holiday.png', ...more] },
    { what: 'a result over a result', args: ['merge', 'stack', '--out', 'merged'] },
  ]);
}

import { parseArgs } from 'node:util';
import { makeFixtures } from './fixtures.js';
import { tortureInputs } from './inputs.js';
import { tortureKills } from './kills.js';
import { torturePage } from './page.js';
import { tortureQueue } from './queue.js';
import { type Tally, type TortureOptions, tallyTable } from './tally.js';

const parts = {
  inputs: { count: 500, run: tortureInputs },
  kills: { count: 100, run: tortureKills },
  page: { count: 200, run: torturePage },
  queue: { count: 24, run: tortureQueue },
} as const;

type Part = keyof typeof parts;

const usage = `Usage: npm run torture -- [--only PART] [--seed N] [--from N] [--count N] [--minutes N] [--json]
Attacks Lamella and prints how much of it was withstood: tried, right, wrong, and left when the time was over.
  --only PART    one of ${Object.entries(parts)
    .map(([name, { count }]) => `${name} (${count} cases)`)
    .join(', ')}; default: all. The queue needs redis-server
  --seed N       the cases follow from it and their number alone (default: 1)
  --from N       first case, to go on where an earlier run ended (default: 0)
  --count N      cases of each part, instead of its own number
  --minutes N    begins no case after this time, of which each part gets an even share (default: 60)
  --json         print the figures as JSON on stdout
Exit code 1: something went wrong; each such case is printed with the command that repeats it.`;

const { values: flags } = parseArgs({
  options: {
    only: { type: 'string' },
    seed: { type: 'string', default: '1' },
    from: { type: 'string', default: '0' },
    count: { type: 'string' },
    minutes: { type: 'string', default: '60' },
    json: { type: 'boolean', default: false },
    help: { type: 'boolean', default: false },
  },
});
if (flags.help) {
  console.log(usage);
  process.exit(0);
}

function whole(name: string, text: string, least: number): number {
  const value = Number(text);
  if (/^\d+$/.test(text) && value >= least) return value;
  console.error(`Expected a whole number of at least ${least} for --${name} but received ${text}\n${usage}`);
  process.exit(2);
}

const names = Object.keys(parts) as Part[];
const chosen = flags.only === undefined ? names : names.filter((name) => name === flags.only);
if (chosen.length === 0) {
  console.error(`Expected one of ${names.join(', ')} for --only but received ${flags.only}\n${usage}`);
  process.exit(2);
}
const shared = {
  seed: whole('seed', flags.seed, 0),
  from: whole('from', flags.from, 0),
  log: (line: string) => console.error(line),
};

const fixtures = await makeFixtures();
const tallies: Tally[] = [];
try {
  let leftMs = 60_000 * whole('minutes', flags.minutes, 1);
  for (const [i, name] of chosen.entries()) {
    const { count, run } = parts[name];
    const rest = Math.max(0, count - shared.from);
    const wanted = flags.count === undefined ? rest : whole('count', flags.count, 1);
    // What a part does not use of its share is for those after it.
    const startedMs = performance.now();
    const untilMs = startedMs + leftMs / (chosen.length - i);
    const options: TortureOptions = { ...shared, count: wanted, untilMs };
    tallies.push(await run(fixtures, options));
    leftMs -= performance.now() - startedMs;
  }
} finally {
  fixtures.remove();
}
console.log(flags.json ? JSON.stringify({ seed: shared.seed, tallies }) : tallyTable(tallies));
process.exitCode = tallies.some(({ wrong }) => wrong.length > 0) ? 1 : 0;

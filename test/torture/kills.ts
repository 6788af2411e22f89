import { cpSync, existsSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as delay } from 'node:timers/promises';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { seededRandom } from '../outside/seeded-random.js';
import { startCommand } from './command.js';
import { pick } from './damage.js';
import { changedPaths, digestOf, type Fixtures, mendArgs, picturesOf } from './fixtures.js';
import { runCases, type Tally, type TortureOptions, type Verdict } from './tally.js';

/** A command that changes a result, and where that lies. */
interface Deed {
  name: string;
  /** Puts into a folder what the command works on. */
  prepare: (folder: string, fixtures: Fixtures) => void;
  args: (folder: string, fixtures: Fixtures) => string[];
  /** Results that it makes or replaces, relative to the folder. */
  results: readonly string[];
}

const deeds: readonly Deed[] = [
  {
    name: 'merge',
    prepare: () => undefined,
    args: (folder, { stack }) => ['merge', stack, '--out', join(folder, 'out'), '--threads', '1'],
    results: ['out'],
  },
  {
    name: 'merge over a result',
    prepare: (folder, { mended }) => cpSync(mended, join(folder, 'out'), { recursive: true }),
    args: (folder, { stack }) => [
      ...['merge', stack, '--out', join(folder, 'out'), '--threads', '1'],
      ...['--overwrite', '--rule', 'select'],
    ],
    results: ['out'],
  },
  {
    name: 'mend',
    prepare: (folder, { merged }) => cpSync(merged, join(folder, 'out'), { recursive: true }),
    args: (folder) => ['mend', join(folder, 'out'), ...mendArgs],
    results: ['out'],
  },
  {
    name: 'mend --undo',
    prepare: (folder, { mended }) => cpSync(mended, join(folder, 'out'), { recursive: true }),
    args: (folder) => ['mend', join(folder, 'out'), '--undo'],
    results: ['out'],
  },
  {
    name: 'batch',
    prepare: () => undefined,
    args: (folder, { week }) => ['batch', week, '--out', join(folder, 'out'), '--threads', '1'],
    results: ['out/ant', 'out/bee'],
  },
];

/** What a deed does when nobody disturbs it. */
interface Calm {
  wallMs: number;
  /** Pictures of each result before and after; undefined where there is none. */
  old: (string | undefined)[];
  made: (string | undefined)[];
}

/** Kills commands in the middle of their work, kill -9, and looks whether each result is the old one or the new one. */
export async function tortureKills(fixtures: Fixtures, options: TortureOptions): Promise<Tally> {
  const calm = new Map<Deed, Calm>();
  for (const deed of deeds) calm.set(deed, await undisturbed(deed, fixtures));
  return runCases('kills', options, async (i) => {
    const random = seededRandom(options.seed * 1_000_003 + i * 104_729);
    const deed = pick(random, deeds);
    const share = random();
    const wrong = await killOnce(deed, calm.get(deed)!, share, fixtures, i % 3 === 0);
    return { what: `${deed.name} killed after ${Math.round(100 * share)} % of its time`, wrong };
  });
}

async function undisturbed(deed: Deed, fixtures: Fixtures): Promise<Calm> {
  const folder = fixtures.makeCase();
  deed.prepare(folder, fixtures);
  const old = await Promise.all(deed.results.map((name) => pictures(join(folder, name))));
  const startMs = performance.now();
  const { code, stderr } = await startCommand(deed.args(folder, fixtures)).ended;
  if (code !== 0) throw new Error(`${deed.name} fails undisturbed: ${stderr}`);
  const wallMs = performance.now() - startMs;
  return { wallMs, old, made: await Promise.all(deed.results.map((name) => pictures(join(folder, name)))) };
}

/** Of a result read as any command reads it, which puts back what a killed run left aside. */
async function pictures(result: string): Promise<string | undefined> {
  const isThere = await readRunRecord(result).then(
    () => true,
    () => false,
  );
  return isThere ? picturesOf(result) : undefined;
}

async function killOnce(
  deed: Deed,
  { wallMs, old, made }: Calm,
  share: number,
  fixtures: Fixtures,
  goesOn: boolean,
): Promise<Verdict> {
  const folder = fixtures.makeCase();
  deed.prepare(folder, fixtures);
  const inputs = [fixtures.stack, fixtures.week];
  const before = inputs.map(digestOf);
  const running = startCommand(deed.args(folder, fixtures));
  await Promise.race([delay(share * wallMs), running.ended]);
  running.child.kill('SIGKILL');
  await running.ended;
  for (const [k, name] of deed.results.entries()) {
    const path = join(folder, name);
    if (old[k] === undefined && !existsSync(path)) continue;
    let now: string | undefined;
    try {
      now = await pictures(path);
    } catch (error) {
      return `${name} is not whole: ${error instanceof Error ? error.message : String(error)}`;
    }
    if (now !== old[k] && now !== made[k]) return `${name} is neither the old result nor the new one`;
  }
  if (goesOn) {
    const { code, stderr } = await startCommand(deed.args(folder, fixtures)).ended;
    // What was finished before the kill may be refused now, as it is there already.
    const isFinished = /already holds a result|is not mended/.test(stderr);
    if (code !== 0 && !isFinished) return `cannot be run again: exit code ${code}: ${stderr.slice(0, 300)}`;
    for (const [k, name] of deed.results.entries()) {
      if ((await pictures(join(folder, name))) !== made[k] && deed.name !== 'mend') {
        return `${name} is not the new result after running again`;
      }
    }
    const left = readdirSync(folder).filter(
      (name) => name.includes('lamella-partial') || name.includes('lamella-old'),
    );
    if (left.length > 0 && !isFinished) return `left behind ${left.join(', ')}`;
  }
  const changed = inputs.flatMap((input, k) => changedPaths(before[k], digestOf(input)));
  return changed.length > 0 ? `changed the photographs: ${changed.join(', ')}` : undefined;
}

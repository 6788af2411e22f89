import { execFile } from 'node:child_process';
import { existsSync } from 'node:fs';
import { mkdir, mkdtemp, readdir, readFile, rm, stat, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { parseArgs, promisify } from 'node:util';
import sharp from 'sharp';
import { runBaselines } from './baselines/run.js';
import {
  type DirectionRow,
  directionCases,
  directionLegend,
  directionShortfalls,
  formatDirections,
  measureDirections,
} from './direction/direction-table.js';
import {
  type FaultRow,
  faultLegend,
  faultShortfalls,
  formatFaults,
  measureFaults,
} from './faults/fault-table.js';
import { plainScenes } from './faults/plain-stack.js';
import { faultNames } from './faults/plan-fault.js';
import { formatWatched, measureWatched, watchedLegend } from './faults/watch-fault.js';
import { evidenceOf, measure } from './measure.js';
import { type ReliabilityBar, reliability } from './metrics/evidence.js';
import { runParts } from './parts.js';
import type { Raster } from './raster.js';
import { measureReliefs, reliefLegend } from './relief/relief-table.js';
import type { QualityReport, SceneReport } from './report.js';
import { readResult } from './result.js';
import { readScene, type Scene } from './scene.js';
import { hashFiles, sceneFolder, sceneRecipes } from './scenes.js';
import { countText, readConstants } from './sensitivity/constants.js';
import { formatSensitivity, measureSensitivity, sensitivityLegend } from './sensitivity/sensitivity.js';
import { formatTable, legend, type Row, shortfalls } from './table.js';

const usage = `Usage: npm run quality -- [--scene NAME]... [--rules auto,select,weigh] [--keep DIR] [--faults] [--fault NAME]... [--watch] [--seeds LIST] [--direction] [--relief] [--jobs N] [--json]
Renders scenes with a known truth, merges them by each rule, and prints how far each result is from the truth.
Then plants faults in stacks and prints how many of them lamella check finds.
  --scene NAME   one of ${sceneRecipes.map(({ name }) => name).join(', ')} (default: all)
  --rules LIST   rules to merge by (default: auto,select,weigh)
  --keep DIR     keep the result folders and the baselines' pictures in DIR
  --faults       print the table of planted faults alone; without this flag it is left out where --scene is given
  --fault NAME   only this fault of the table, such as 'bump' or 'none' (default: all)
  --watch        print instead how soon lamella check --watch names the planted faults when the frames come in one by one
  --direction    print the table of which end is near alone: scenes by rail, lens and microscope, in both orders; --scene then names its
                 cases, such as leaves, "leaves 1" or "leaves 1 rail"
  --relief       print alone what is measured on merged stacks of bodies of known size, and on the reliefs of two photographs
  --seeds LIST   seeds of the planted faults, such as 7 or 1,2,5 or 1-7 (default: 1-7), for each of the scenes
                 ${plainScenes.join(', ')}
  --sensitivity  print instead how each column moves when a free constant of the model is a fifth larger or smaller
  --constant NAME  only this constant, free or not (default: all that are free)
  --constants    print how many constants the stations have
  --jobs N       run up to N parts of the work side by side, each in a process of its own (default: 1)
  --json         print one JSON object instead of tables
Exit code 1: auto is worse than the better baseline in some column, a merge failed, too few faults were found, or the near end was told wrong or too seldom.`;

const { values: flags } = parseArgs({
  options: {
    scene: { type: 'string', multiple: true },
    rules: { type: 'string', default: 'auto,select,weigh' },
    keep: { type: 'string' },
    faults: { type: 'boolean', default: false },
    direction: { type: 'boolean', default: false },
    relief: { type: 'boolean', default: false },
    fault: { type: 'string', multiple: true },
    watch: { type: 'boolean', default: false },
    seeds: { type: 'string', default: '1-7' },
    sensitivity: { type: 'boolean', default: false },
    constant: { type: 'string', multiple: true },
    constants: { type: 'boolean', default: false },
    jobs: { type: 'string', default: '1' },
    json: { type: 'boolean', default: false },
    help: { type: 'boolean', default: false },
  },
});
if (flags.help) {
  console.log(usage);
  process.exit(0);
}
if (flags.constants) {
  console.log(countText(readConstants()));
  process.exit(0);
}
const faultsAlone = flags.faults || flags.watch || flags.fault !== undefined;
const isTableAlone = faultsAlone || flags.direction || flags.sensitivity || flags.relief;
const wanted = isTableAlone ? [] : (flags.scene ?? sceneRecipes.map(({ name }) => name));
const wantedFaults = faultNames.filter((name) => flags.fault?.includes(name) ?? true);
const faultScenes = plainScenes.filter((name) => !faultsAlone || (flags.scene?.includes(name) ?? true));
const hasFaults = (faultsAlone && !flags.watch) || (flags.scene === undefined && !isTableAlone);
const seeds = parseSeeds(flags.seeds);
const jobs = Number(flags.jobs);
expectFlag(Number.isInteger(jobs) && jobs >= 1, 'a whole number from 1', 'jobs');
expectFlag(seeds !== undefined, 'whole numbers from 1, such as 7 or 1,2,5 or 1-7,', 'seeds');
for (const name of flags.fault ?? []) {
  expectFlag(
    faultNames.some((known) => known === name),
    `one of ${faultNames.join(', ')}`,
    'fault',
  );
}
for (const name of flags.constant ?? [])
  expectFlag(
    readConstants().some((constant) => constant.name === name),
    'a constant of src/model/constants',
    'constant',
  );
for (const name of wanted) {
  expectFlag(
    sceneRecipes.some((recipe) => recipe.name === name),
    'a known scene',
    'scene',
  );
}

const lamella = fileURLToPath(new URL('../../bin/lamella.js', import.meta.url));
const workDir = flags.keep ?? (await mkdtemp(join(tmpdir(), 'lamella-quality-')));
if (await isBuildOld()) {
  console.error('dist is older than src: the figures are those of the build, run "npm run build" first');
}
const found: QualityReport = { scenes: [], faults: [], directions: [] };
const broken: string[] = [];
try {
  if (!flags.json && wanted.length > 0)
    console.log(`${legend}\nBaselines run on frames aligned by the TRUE motion, which favours them.`);
  if (flags.watch) {
    const rows = await measureWatched(seeds!, faultScenes, wantedFaults, (text) => console.error(text));
    const misses = rows.flatMap(({ fault, misses: own }) => own.map((miss) => `${fault}: ${miss}`));
    console.log(
      flags.json ? JSON.stringify(rows) : [watchedLegend, '', formatWatched(rows), '', ...misses].join('\n'),
    );
  } else if (flags.sensitivity) {
    const report = (text: string) => console.error(text);
    const table = await measureSensitivity(flags.constant ?? [], jobs, workDir, report);
    console.log(flags.json ? JSON.stringify(table) : `${sensitivityLegend}\n\n${formatSensitivity(table)}`);
  } else if (flags.relief) {
    console.log(`${reliefLegend}\n`);
    if (!(await measureReliefs(workDir, (line) => console.log(line))))
      broken.push('a size is not the true one');
  } else if (jobs === 1) await measureAll();
  else await measureInParts();
  if (flags.json && !flags.sensitivity && !flags.watch) console.log(JSON.stringify(found, dropUnmeasured, 1));
} finally {
  if (flags.keep === undefined) await rm(workDir, { recursive: true, force: true });
}
for (const part of broken) console.error(`A part of the work broke off: ${part}`);
const fallsShort =
  found.scenes.some((report) => report.shortfalls.length + report.failures.length > 0) ||
  faultShortfalls(found.faults).length > 0 ||
  directionShortfalls(found.directions).length > 0;
process.exitCode = fallsShort || broken.length > 0 ? 1 : 0;

/** Measures what is wanted, one thing after the other, and prints each table as soon as it is there. */
async function measureAll(): Promise<void> {
  for (const recipe of sceneRecipes) {
    if (!wanted.includes(recipe.name)) continue;
    const folder = await sceneFolder(recipe);
    const report =
      'skipped' in folder
        ? { scene: recipe.name, skipped: folder.skipped, rows: [], shortfalls: [], failures: [] }
        : await judge(recipe.name, folder.dir);
    found.scenes.push(report);
    if (!flags.json) console.log(`\n${describe(report)}`);
  }
  if (flags.direction) {
    found.directions.push(...(await measureDirections((text) => console.error(text), flags.scene)));
    if (!flags.json) console.log(describeDirections(found.directions));
  }
  if (hasFaults) {
    const report = (text: string) => console.error(text);
    found.faults.push(...(await measureFaults(seeds!, faultScenes, wantedFaults, report)));
    if (!flags.json) console.log(`\n${describeFaults(found.faults)}`);
  }
}

/** Measures what is wanted in processes side by side; scenes are printed as they are ready, the other tables at the end. */
async function measureInParts(): Promise<void> {
  const scenes = wanted.map((name) => ['--scene', name, '--rules', flags.rules]);
  if (flags.keep !== undefined) for (const part of scenes) part.push('--keep', flags.keep);
  const directions = flags.direction
    ? directionCases(flags.scene).map((name) => ['--direction', '--scene', name])
    : [];
  const stacks = hasFaults
    ? seeds!.flatMap((seed) =>
        faultScenes.map((name) => ['--faults', '--scene', name, '--seeds', String(seed)]),
      )
    : [];
  const faults = flags.fault?.flatMap((name) => ['--fault', name]) ?? [];
  const parts = [...scenes, ...directions, ...stacks.map((part) => [...part, ...faults])];
  const { report, broken: ended } = await runParts(parts, jobs, ({ scenes: ready }) => {
    for (const scene of flags.json ? [] : ready) console.log(`\n${describe(scene)}`);
  });
  Object.assign(found, report);
  broken.push(...ended);
  if (flags.json) return;
  if (found.directions.length > 0) console.log(describeDirections(found.directions));
  if (found.faults.length > 0) console.log(`\n${describeFaults(found.faults)}`);
}

function expectFlag(
  isGood: boolean,
  range: string,
  name: 'jobs' | 'seeds' | 'fault' | 'scene' | 'constant',
): void {
  if (isGood) return;
  console.error(`Expected ${range} for --${name} but received ${String(flags[name])}\n${usage}`);
  process.exit(2);
}

/** Seeds of a list of numbers and ranges; undefined where it is none. */
function parseSeeds(list: string): number[] | undefined {
  const found: number[] = [];
  for (const piece of list.split(',')) {
    const range = /^(\d+)(?:-(\d+))?$/.exec(piece.trim());
    if (!range) return undefined;
    const [first, last] = [Number(range[1]), Number(range[2] ?? range[1])];
    if (first < 1 || last < first) return undefined;
    for (let seed = first; seed <= last; seed++) found.push(seed);
  }
  return found;
}

/** Whether a source of the program has changed since `dist` was built. */
async function isBuildOld(): Promise<boolean> {
  const at = (path: string) => fileURLToPath(new URL(`../../${path}`, import.meta.url));
  const newest = async (folder: string, ending: RegExp) => {
    if (!existsSync(folder)) return 0;
    const names = (await readdir(folder, { recursive: true })).filter((name) => ending.test(name));
    return Math.max(
      0,
      ...(await Promise.all(names.map(async (name) => (await stat(join(folder, name))).mtimeMs))),
    );
  };
  return (await newest(at('src'), /\.ts$/)) > (await newest(at('dist'), /\.(js|wasm)$/));
}

async function judge(name: string, sceneDir: string): Promise<SceneReport> {
  const scene = await readScene(sceneDir);
  const baselines = await baselineRows(scene, sceneDir, name);
  const rules: Row[] = [];
  let bars: ReliabilityBar[] | undefined;
  const failures: string[] = [];
  for (const rule of flags.rules.split(',')) {
    const out = join(workDir, name, rule);
    try {
      await merge(scene, sceneDir, rule, out);
      const result = await readResult(out, scene);
      rules.push({ name: rule, role: 'rule', figures: measure(scene, result) });
      const evidence = evidenceOf(scene, result);
      if (rule === 'auto') bars = evidence && reliability(evidence);
    } catch (error) {
      failures.push(`rule ${rule} failed: ${error instanceof Error ? error.message : String(error)}`);
    }
  }
  const auto = rules.find((row) => row.name === 'auto');
  const withRole = (role: Row['role']) => baselines.filter((row) => row.role === role);
  return {
    scene: name,
    rows: [...withRole('floor'), ...withRole('baseline'), ...rules, ...withRole('ceiling')],
    shortfalls: auto === undefined ? [] : shortfalls(auto, withRole('baseline')),
    failures,
    reliability: bars,
  };
}

/** Runs the built program as a user would. Rejects with what it said on stderr. */
async function merge({ record }: Scene, sceneDir: string, rule: string, out: string): Promise<void> {
  const args = ['merge', join(sceneDir, 'frames'), '--out', out, '--rule', rule];
  const options = ['--anchor', String(record.anchor), '--crop', 'anchor', '--overwrite', '--quiet'];
  await mkdir(join(out, '..'), { recursive: true });
  try {
    await promisify(execFile)(process.execPath, [lamella, ...args, ...options], { maxBuffer: 2 ** 26 });
  } catch (error) {
    const said = error instanceof Error && 'stderr' in error ? String(error.stderr).trim() : '';
    throw new Error(said || String(error), { cause: error });
  }
}

/** Rows of the baselines, from the scene's cache unless the sources here have changed or pictures are wanted. */
async function baselineRows(scene: Scene, sceneDir: string, name: string): Promise<Row[]> {
  const hash = await hashFiles(fileURLToPath(new URL('.', import.meta.url)), '');
  const cache = join(sceneDir, `baselines-${hash}.json`);
  if (flags.keep === undefined && existsSync(cache))
    return JSON.parse(await readFile(cache, 'utf8')) as Row[];
  console.error(`${name}: running the baselines on ${scene.framePaths.length} frames`);
  const rows: Row[] = [];
  for (const { picture, ...row } of await runBaselines(scene)) {
    rows.push(row);
    if (flags.keep !== undefined && picture !== undefined) {
      await writePicture(picture, join(flags.keep, name), row.name);
    }
  }
  await writeFile(cache, JSON.stringify(rows, dropUnmeasured));
  return rows;
}

/** JSON has no NaN: a figure that was not measured is left out. */
function dropUnmeasured(_key: string, value: unknown): unknown {
  return typeof value === 'number' && !Number.isFinite(value) ? undefined : value;
}

async function writePicture({ rgb, width, height }: Raster, dir: string, name: string): Promise<void> {
  await mkdir(dir, { recursive: true });
  await sharp(rgb, { raw: { width, height, channels: 3 } })
    .toColourspace('rgb16')
    .png({ compressionLevel: 1 })
    .toFile(join(dir, `${name.replaceAll(/[^a-z0-9]+/gi, '-')}.png`));
}

function describe({
  scene,
  skipped,
  rows,
  shortfalls: short,
  failures,
  reliability: bars,
}: SceneReport): string {
  if (skipped !== undefined) return skipped;
  const lines = [`${scene} (${useOf(scene)})`, formatTable(rows), ...failures];
  if (bars) lines.push(`confidence of auto: ${bars.map(formatBar).join('  ')}`);
  for (const { column, value, baseline, baselineName } of short) {
    lines.push(`auto is worse than ${baselineName} in ${column}: ${value} against ${baseline}`);
  }
  return lines.join('\n');
}

/** A bar of the reliability diagram: confidence from, right within 1 step, share of the textured pixels. */
function formatBar({ from, rightPercent, sharePercent }: ReliabilityBar): string {
  const right = Number.isNaN(rightPercent) ? '-' : `${rightPercent.toFixed(0)} %`;
  return `${from.toFixed(1)}: ${right} of ${sharePercent.toFixed(1)}`;
}

function useOf(scene: string): string {
  return sceneRecipes.find(({ name }) => name === scene)?.use === 'judging' ? 'judged only' : 'for tuning';
}

function describeFaults(rows: readonly FaultRow[]): string {
  const misses = rows.flatMap(({ fault, misses: own }) => own.map((miss) => `${fault}: ${miss}`));
  return [faultLegend, '', formatFaults(rows), '', ...misses, ...faultShortfalls(rows)].join('\n').trimEnd();
}

function describeDirections(rows: readonly DirectionRow[]): string {
  return [directionLegend, '', formatDirections(rows), '', ...directionShortfalls(rows)].join('\n').trimEnd();
}

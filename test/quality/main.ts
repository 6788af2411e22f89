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
import { faultNames } from './faults/plan-fault.js';
import { evidenceOf, measure } from './measure.js';
import { type ReliabilityBar, reliability } from './metrics/evidence.js';
import type { Raster } from './raster.js';
import { readResult } from './result.js';
import { readScene, type Scene } from './scene.js';
import { hashFiles, sceneFolder, sceneRecipes } from './scenes.js';
import { formatTable, legend, type Row, type Shortfall, shortfalls } from './table.js';

const usage = `Usage: npm run quality -- [--scene NAME]... [--rules auto,select,weigh] [--keep DIR] [--faults] [--fault NAME]... [--seeds N] [--direction] [--json]
Renders scenes with a known truth, merges them by each rule, and prints how far each result is from the truth.
Then plants faults in stacks and prints how many of them lamella check finds.
  --scene NAME   one of ${sceneRecipes.map(({ name }) => name).join(', ')} (default: all)
  --rules LIST   rules to merge by (default: auto,select,weigh)
  --keep DIR     keep the result folders and the baselines' pictures in DIR
  --faults       print the table of planted faults alone; with --scene it is left out
  --fault NAME   only this fault of the table, such as 'bump' or 'none' (default: all)
  --direction    print the table of which end is near alone: scenes by rail, lens and microscope, in both orders; --scene is then how the names of its
                 scenes begin, such as leaves
  --seeds N      seeds of the planted faults (default: 7, with three scenes each)
  --json         print one JSON object instead of tables
Exit code 1: auto is worse than the better baseline in some column, a merge failed, or too few faults were found.`;

/** What was found of one scene. */
interface Report {
  scene: string;
  skipped?: string;
  rows: Row[];
  shortfalls: Shortfall[];
  failures: string[];
  /** Of `auto`. */
  reliability?: ReliabilityBar[] | undefined;
}

const { values: flags } = parseArgs({
  options: {
    scene: { type: 'string', multiple: true },
    rules: { type: 'string', default: 'auto,select,weigh' },
    keep: { type: 'string' },
    faults: { type: 'boolean', default: false },
    direction: { type: 'boolean', default: false },
    fault: { type: 'string', multiple: true },
    seeds: { type: 'string', default: '7' },
    json: { type: 'boolean', default: false },
    help: { type: 'boolean', default: false },
  },
});
if (flags.help) {
  console.log(usage);
  process.exit(0);
}
const faultsAlone = flags.faults || flags.fault !== undefined;
const isTableAlone = faultsAlone || flags.direction;
const wanted = isTableAlone ? [] : (flags.scene ?? sceneRecipes.map(({ name }) => name));
const wantedFaults = faultNames.filter((name) => flags.fault?.includes(name) ?? true);
const strangeFault = flags.fault?.find((name) => !faultNames.some((known) => known === name));
if (strangeFault !== undefined) {
  console.error(
    `Expected one of ${faultNames.join(', ')} for --fault but received ${strangeFault}\n${usage}`,
  );
  process.exit(2);
}
const seeds = Number(flags.seeds);
if (!Number.isInteger(seeds) || seeds < 1) {
  console.error(`Expected a whole number from 1 for --seeds but received ${flags.seeds}\n${usage}`);
  process.exit(2);
}
const stranger = wanted.find((name) => !sceneRecipes.some((recipe) => recipe.name === name));
if (stranger !== undefined) {
  console.error(`Expected a known scene but received ${stranger}\n${usage}`);
  process.exit(2);
}

const lamella = fileURLToPath(new URL('../../bin/lamella.js', import.meta.url));
const workDir = flags.keep ?? (await mkdtemp(join(tmpdir(), 'lamella-quality-')));
if (await isBuildOld()) {
  console.error('dist is older than src: the figures are those of the build, run "npm run build" first');
}
const reports: Report[] = [];
const faults: FaultRow[] = [];
const directions: DirectionRow[] = [];
try {
  if (!flags.json && wanted.length > 0)
    console.log(`${legend}\nBaselines run on frames aligned by the TRUE motion, which favours them.`);
  for (const recipe of sceneRecipes) {
    if (!wanted.includes(recipe.name)) continue;
    const folder = await sceneFolder(recipe);
    const report =
      'skipped' in folder
        ? { scene: recipe.name, skipped: folder.skipped, rows: [], shortfalls: [], failures: [] }
        : await judge(recipe.name, folder.dir);
    reports.push(report);
    if (!flags.json) console.log(`\n${describe(report)}`);
  }
  if (flags.direction) {
    directions.push(...(await measureDirections((text) => console.error(text), flags.scene)));
    if (!flags.json)
      console.log(
        [directionLegend, '', formatDirections(directions), '', ...directionShortfalls(directions)]
          .join('\n')
          .trimEnd(),
      );
  }
  if (faultsAlone || (flags.scene === undefined && !flags.direction)) {
    faults.push(...(await measureFaults(seeds, wantedFaults, (text) => console.error(text))));
    if (!flags.json) console.log(`\n${describeFaults(faults)}`);
  }
  if (flags.json) console.log(JSON.stringify({ scenes: reports, faults, directions }, dropUnmeasured, 1));
} finally {
  if (flags.keep === undefined) await rm(workDir, { recursive: true, force: true });
}
const fallsShort =
  reports.some((report) => report.shortfalls.length + report.failures.length > 0) ||
  faultShortfalls(faults).length > 0 ||
  directionShortfalls(directions).length > 0;
process.exitCode = fallsShort ? 1 : 0;

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

async function judge(name: string, sceneDir: string): Promise<Report> {
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

function describe({ scene, skipped, rows, shortfalls: short, failures, reliability: bars }: Report): string {
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

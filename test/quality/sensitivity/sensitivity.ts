import { mkdir, rm } from 'node:fs/promises';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { plainStack } from '../faults/plain-stack.js';
import type { FaultName } from '../faults/plan-fault.js';
import { plantFault } from '../faults/plant-fault.js';
import { readScene } from '../scene.js';
import { type SceneRecipe, sceneFolder, sensitivityRecipes } from '../scenes.js';
import { columns } from '../table.js';
import { readConstants, readValues, type StatedConstant } from './constants.js';
import {
  type FaultyStack,
  measureMerges,
  measureVerdicts,
  type ProgramFigures,
  type SceneInFolder,
} from './measure-program.js';
import { moved, varyProgram } from './vary-program.js';

export const sensitivityLegend = `Each free constant a fifth up and down (what counts something by one at least): the change of each column of the quality
table, mean of ${sensitivityRecipes.map(({ name }) => name).join(', ')}, for tuning all of them,
and of the faults that check finds in stacks of an insect head, and its false alarms. '0' is a change below the digits
of the table, '.' none. A constant without any change in both directions moves nothing here.`;

/** Faults that the verdicts of the rail hang on, and a clean stack. */
const plantedFaults: readonly FaultName[] = [
  ...(['none', 'missed step', 'step not taken', 'shaken frame', 'too-coarse steps', 'dust'] as const),
  ...(['reversed turn', 'short in front', 'short behind', 'hot pixels', 'burnt highlights'] as const),
];

/** Whether a constant decides nothing that a check says: no check runs the kernels of the surface, or the blend. */
function isOfMergesAlone({ station, type }: StatedConstant): boolean {
  return station === 'blend' || (station === 'surface' && (type === 'f32' || type === 'i32'));
}

/** Whether two programs write the same bytes and say the same. */
function isSame(first: ProgramFigures, second: ProgramFigures): boolean {
  return first.mergeHash === second.mergeHash && first.verdicts.hash === second.verdicts.hash;
}

/** What moving one constant did; undefined figures where the program failed. */
export interface SensitivityRow {
  constant: StatedConstant;
  factor: number;
  after: ProgramFigures | undefined;
  /** Why the program failed. */
  failure?: string;
}

export interface SensitivityTable {
  base: ProgramFigures;
  rows: SensitivityRow[];
}

/**
 * @param wanted Names of constants; all free ones where none are given.
 * @param jobs Programs that are measured side by side.
 * @param workDir Existing folder for programs and stacks; what is put there is removed again.
 */
export async function measureSensitivity(
  wanted: readonly string[],
  jobs: number,
  workDir: string,
  onProgress: (text: string) => void,
): Promise<SensitivityTable> {
  const compiled = fileURLToPath(new URL('../../../dist', import.meta.url));
  const values = await readValues(compiled);
  const constants = readConstants().filter(({ name, kind }) =>
    wanted.length > 0 ? wanted.includes(name) : kind === 'Free',
  );
  const scenes = await Promise.all(sensitivityRecipes.map(readRecipe));
  const stacks = await plantStacks(join(workDir, 'stacks'));
  const program = fileURLToPath(new URL('../../../', import.meta.url));
  const base: ProgramFigures = {
    ...(await measureMerges(program, scenes, join(workDir, 'results'))),
    verdicts: await measureVerdicts(program, stacks),
  };
  const rows = constants.flatMap((constant) =>
    [1.2, 0.8].map((factor): SensitivityRow => ({ constant, factor, after: undefined })),
  );
  const waiting = [...rows.entries()];
  const work = async () => {
    for (let next = waiting.shift(); next; next = waiting.shift()) {
      const [index, row] = next;
      const folder = join(workDir, `program-${index}`);
      try {
        const { name, type } = row.constant;
        await varyProgram(row.constant, moved(values[name], type, row.factor), folder);
        const verdicts = isOfMergesAlone(row.constant)
          ? base.verdicts
          : await measureVerdicts(folder, stacks);
        row.after = { ...(await measureMerges(folder, scenes, join(folder, 'results'))), verdicts };
      } catch (error) {
        row.failure = (error instanceof Error ? error.message : String(error))
          .split('\n')
          .slice(0, 2)
          .join(' ');
      } finally {
        await rm(folder, { recursive: true, force: true });
      }
      onProgress(formatRow(base, row));
    }
  };
  await Promise.all(Array.from({ length: jobs }, work));
  for (const own of ['stacks', 'results']) await rm(join(workDir, own), { recursive: true, force: true });
  return { base, rows };
}

async function readRecipe(recipe: SceneRecipe): Promise<SceneInFolder> {
  const folder = await sceneFolder(recipe);
  if ('skipped' in folder) throw new Error(folder.skipped);
  return { dir: folder.dir, scene: await readScene(folder.dir) };
}

async function plantStacks(folder: string): Promise<FaultyStack[]> {
  const plain = await plainStack('insect-head', 1);
  const stacks: FaultyStack[] = [];
  for (const [i, fault] of plantedFaults.entries()) {
    const own = join(folder, String(i));
    await mkdir(own, { recursive: true });
    stacks.push({ folder: own, planted: await plantFault(plain, fault, 1, own) });
  }
  return stacks;
}

const headings = [...columns.map(({ heading }) => heading), 'found', 'false'];

/** The changes of a row, a cell a column. */
function changesOf(base: ProgramFigures, { after, failure }: SensitivityRow): string[] {
  if (!after) return [failure ?? ''];
  const areSame = isSame(after, base);
  const change = (before: number | undefined, now: number | undefined, digits: number) => {
    if (before === undefined || now === undefined) return before === now ? '.' : '?';
    const text = (now - before).toFixed(digits);
    if (now === before || areSame) return '.';
    return Number(text) === 0 ? '0' : now > before ? `+${text}` : text;
  };
  return [
    ...columns.map(({ key, digits }) => change(base.figures[key], after.figures[key], digits)),
    change(base.verdicts.found, after.verdicts.found, 0),
    change(base.verdicts.falseAlarms, after.verdicts.falseAlarms, 0),
  ];
}

function formatRow(base: ProgramFigures, row: SensitivityRow): string {
  const direction = row.factor > 1 ? 'up' : 'down';
  return `${row.constant.name} ${direction}: ${changesOf(base, row).join(' ')}`;
}

/** The table, and below it the names of the constants that move nothing. */
export function formatSensitivity({ base, rows }: SensitivityTable): string {
  const cells = [
    ['', ...headings],
    ...rows.map((row) => [`${row.constant.name} ${row.factor > 1 ? 'up' : 'down'}`, ...changesOf(base, row)]),
  ];
  const widths = cells[0].map((_, i) =>
    Math.max(...cells.filter((line) => line.length === cells[0].length).map((line) => line[i].length)),
  );
  const lines = cells.map((line) =>
    line.map((cell, i) => (i === 0 ? cell.padEnd(widths[i]) : cell.padStart(widths[i]))).join('  '),
  );
  const names = [...new Set(rows.map(({ constant }) => constant.name))];
  const idle = names.filter((name) =>
    rows.every((row) => row.constant.name !== name || (row.after && isSame(row.after, base))),
  );
  return [...lines, '', `move nothing: ${idle.join(', ') || 'none'}`].join('\n');
}

import { execFile } from 'node:child_process';
import { createHash } from 'node:crypto';
import { readFile, rm } from 'node:fs/promises';
import { basename, join } from 'node:path';
import { promisify } from 'node:util';
import type { CheckReport } from '../../../src/check/check-report.js';
import { judgeReport } from '../faults/fault-table.js';
import type { Planted } from '../faults/plant-fault.js';
import { type Figures, measure } from '../measure.js';
import { readResult } from '../result.js';
import type { Scene } from '../scene.js';

/** A scene to merge, and the folder that it lies in. */
export interface SceneInFolder {
  dir: string;
  scene: Scene;
}

/** A stack to check, and what is wrong with it. */
export interface FaultyStack {
  folder: string;
  planted: Planted;
}

/** What a program says of the faulty stacks. */
export interface Verdicts {
  /** Faults found, and stacks with an alarm that has nothing to do with the fault. */
  found: number;
  falseAlarms: number;
  /** Changes with anything that is said. */
  hash: string;
}

/** What a program makes of the scenes and of the faulty stacks. */
export interface ProgramFigures {
  /** Figures of the quality table, mean over the scenes that have them. */
  figures: { [key in keyof Figures]?: number };
  /** Changes with any byte of the pictures and maps. */
  mergeHash: string;
  verdicts: Verdicts;
}

const run = promisify(execFile);
const maxBuffer = 2 ** 26;
const files = ['composite.tif', 'depth.tif', 'sources.png', 'confidence.png', 'coverage.png'];

/** The program in a folder, started from there. */
const startOf = (program: string) => join(program, 'bin', 'lamella.js');

/**
 * Merges the scenes with the program in a folder, one thread at a time, since many programs are measured side by side.
 *
 * @param results Folder for its results, which are removed again; its own, for others may measure the same program.
 */
export async function measureMerges(
  program: string,
  scenes: readonly SceneInFolder[],
  results: string,
): Promise<Pick<ProgramFigures, 'figures' | 'mergeHash'>> {
  const lamella = startOf(program);
  const hash = createHash('sha256');
  const all: Figures[] = [];
  for (const { dir, scene } of scenes) {
    const out = join(results, basename(dir));
    const options = [
      '--anchor',
      String(scene.record.anchor),
      '--crop',
      'anchor',
      '--threads',
      '1',
      '--quiet',
    ];
    // Pictures so small hold too few depth edges to show which end is near: that is not what is judged here.
    const order = ['--direction', 'near-to-far'];
    await run(process.execPath, [lamella, 'merge', join(dir, 'frames'), '--out', out, ...options, ...order], {
      maxBuffer,
    });
    for (const file of files) hash.update(await readFile(join(out, file)));
    all.push(measure(scene, await readResult(out, scene)));
    await rm(out, { recursive: true });
  }
  return { figures: meanOf(all), mergeHash: hash.digest('hex') };
}

/** Checks the stacks with the program in a folder. */
export async function measureVerdicts(program: string, stacks: readonly FaultyStack[]): Promise<Verdicts> {
  const lamella = startOf(program);
  const hash = createHash('sha256');
  let [found, falseAlarms] = [0, 0];
  for (const { folder, planted } of stacks) {
    const { stdout } = await run(process.execPath, [lamella, 'check', folder, '--json'], { maxBuffer }).catch(
      // What spoils a stack makes an exit code, and a report all the same.
      (error: { stdout?: string }) => ({ stdout: error.stdout ?? '' }),
    );
    const report = JSON.parse(stdout) as CheckReport;
    hash.update(JSON.stringify(report.findings));
    const verdict = judgeReport(planted, report);
    if (planted.fault !== 'none' && verdict.isFound) found++;
    if (verdict.strays.length > 0) falseAlarms++;
  }
  return { found, falseAlarms, hash: hash.digest('hex') };
}

function meanOf(all: readonly Figures[]): ProgramFigures['figures'] {
  const keys = [...new Set(all.flatMap((figures) => Object.keys(figures)))] as (keyof Figures)[];
  const means: ProgramFigures['figures'] = {};
  for (const key of keys) {
    const values = all.flatMap((figures) => (Number.isFinite(figures[key]) ? [figures[key] as number] : []));
    if (values.length > 0) means[key] = values.reduce((sum, value) => sum + value, 0) / values.length;
  }
  return means;
}

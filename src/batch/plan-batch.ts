import { readdir } from 'node:fs/promises';
import { freemem } from 'node:os';
import { basename, join, relative } from 'node:path';
import { LamellaError } from '../errors.js';
import { optionName } from '../option-names.js';
import type { MergeOptions } from '../options/merge-options.js';
import { isEarlierResult } from '../stack/earlier-result.js';
import { previewSize } from '../stack/reduce-stack.js';
import type { ResolvedBatch } from './batch-options.js';
import type { DiscoveredStack, PassedFolder, SearchResult } from './discovered-stack.js';
import { paceFactor, type StackNeeds, stackNeeds } from './estimate.js';
import { findStacks, type InspectionCache } from './find-stacks.js';
import type { FailureKind, PlannedStack } from './night-events.js';
import type { NightState } from './night-state.js';
import { whyRefused } from './refuse-stack.js';
import { resultName, stackKey } from './result-name.js';
import { stateOfResult } from './result-state.js';
import { sameInputs } from './stack-inputs.js';
import { optionsMark, StackOptions } from './stack-options.js';

/** A stack that is to be merged. */
export interface Task extends StackNeeds {
  found: DiscoveredStack;
  planned: PlannedStack;
  options: MergeOptions;
  /** See `optionsMark`. */
  mark: string;
  estimateMs: number;
  /** Bound on its memory; undefined for none. */
  memoryLimitMb: number | undefined;
}

/** A stack that fails before it begins. */
export interface Fault {
  planned: PlannedStack;
  kind: FailureKind;
  reason: string;
}

/** What a batch will do. */
export interface BatchPlan {
  tasks: Task[];
  faults: Fault[];
  /** Stacks whose results stand, from the same photographs and options. */
  finished: PlannedStack[];
  /** Why stacks that were finished are merged again though neither photographs nor options changed, one sentence each. */
  damaged: string[];
  passed: PassedFolder[];
  partings: string[];
}

/** Finds the stacks below the root and compares them with what the night list says. */
export async function planBatch(
  batch: ResolvedBatch,
  night: NightState,
  look: { known?: InspectionCache; signal?: AbortSignal | undefined } = {},
): Promise<BatchPlan> {
  const { root, out, maxPixels, split, followLinks } = batch;
  const findings = await findStacks(root, { exclude: [out], maxPixels, split, followLinks, ...look });
  if (!batch.only) return planDiscovered(batch, night, findings);
  const { only } = batch;
  const keyOf = ({ folder }: { folder: string }) => stackKey(relative(root, folder));
  const isMeant = (passed: PassedFolder) => only.includes(keyOf(passed));
  // The path of a folder of many stacks stands for all of them.
  const stacks = [
    ...new Set(
      only.flatMap((key) => findings.stacks.filter((found) => found.key === key || keyOf(found) === key)),
    ),
  ];
  const plan = await planDiscovered(batch, night, {
    stacks,
    passed: findings.passed.filter(isMeant),
    partings: findings.partings,
  });
  const known = new Set([
    ...stacks.flatMap((found) => [found.key, keyOf(found)]),
    ...plan.faults.map(({ planned }) => planned.stack),
  ]);
  for (const key of new Set(only)) {
    if (!known.has(key)) plan.faults.push(missing(batch, key, findings.passed));
  }
  return plan;
}

/** A stack that was asked for and is none. */
function missing({ root }: ResolvedBatch, key: string, passed: readonly PassedFolder[]): Fault {
  const folder = join(root, key);
  const why = passed.find((other) => other.folder === folder)?.reason;
  return {
    planned: {
      ...{ stack: key, name: resultName(key, basename(root)), folder },
      ...{ frames: 0, size: { width: 0, height: 0 }, estimateMs: 0 },
    },
    kind: 'folder',
    reason: `There is no stack in ${folder}${why === undefined ? '' : `: ${why}`}.`,
  };
}

/** The plan for stacks that were found. */
export async function planDiscovered(
  batch: ResolvedBatch,
  night: NightState,
  findings: SearchResult,
): Promise<BatchPlan> {
  const { passed, partings } = findings;
  const plan: BatchPlan = { tasks: [], faults: [], finished: [], damaged: [], passed, partings };
  const optionFiles = new StackOptions(batch.root, batch.merge);
  const runs = [...night.stacks.values()].flatMap(({ done }) => (done ? [done] : []));
  const pace = paceFactor(runs);
  for (const found of findings.stacks) {
    if (batch.retry && night.stacks.get(found.key)?.state !== 'failed') continue;
    const size = previewSize(found.size, batch.merge.preview);
    const needs = stackNeeds({ ...found, size }, batch.budget);
    const estimateMs = Math.round(pace * needs.modelMs);
    const planned = plannedOf(found, estimateMs);
    const memoryLimitMb = shareOfMemory(batch, needs);
    let options: MergeOptions;
    try {
      options = {
        ...(await optionFiles.of(found)),
        threads: needs.threads,
        ...memoryBoundOf(memoryLimitMb, needs),
      };
    } catch (error) {
      if (!(error instanceof LamellaError)) throw error;
      plan.faults.push({ planned, kind: 'options', reason: error.message });
      continue;
    }
    const positionsFrom = (await optionFiles.positionsFrom(found)) ?? batch.positionsFile;
    // What the machines of a queue have only their workers know.
    const machineMb = batch.queue ? Number.POSITIVE_INFINITY : undefined;
    const refused = whyRefused(found, options, positionsFrom, machineMb);
    if (refused !== undefined) {
      plan.faults.push({ planned, kind: 'frames', reason: refused });
      continue;
    }
    const mark = optionsMark(options);
    const task = { ...needs, found, planned, options, mark, estimateMs, memoryLimitMb };
    const standing = await standingOf(batch, night, task);
    if (standing.state === 'finished') plan.finished.push(planned);
    else if (standing.state === 'foreign') {
      plan.faults.push({ planned, kind: 'output', reason: standing.reason });
    } else {
      plan.tasks.push(task);
      if (standing.fault) plan.damaged.push(`${found.key} is merged again, because ${standing.fault}.`);
    }
  }
  for (const { folder, reason, unreadable } of passed) {
    if (!unreadable) continue;
    const key = stackKey(relative(batch.root, folder));
    if (batch.retry && night.stacks.get(key)?.state !== 'failed') continue;
    const planned: PlannedStack = {
      stack: key,
      name: resultName(key, basename(batch.root)),
      folder,
      frames: 0,
      size: { width: 0, height: 0 },
      estimateMs: 0,
    };
    plan.faults.push({
      planned,
      kind: 'folder',
      reason: `The folder ${folder} was not searched: ${reason}.`,
    });
  }
  return plan;
}

/** What lies where a stack's result goes, and what follows for the stack. */
type Standing =
  | { state: 'finished' }
  /** It holds what this batch did not write, and may not replace. */
  | { state: 'foreign'; reason: string }
  /** `fault` is set where a finished result is no longer whole. */
  | { state: 'to do'; fault?: string };

async function standingOf(
  { out, merge }: ResolvedBatch,
  night: NightState,
  { found, mark }: Pick<Task, 'found' | 'mark'>,
): Promise<Standing> {
  const path = join(out, found.name);
  const foreign: Standing = {
    state: 'foreign',
    reason: `${path} already holds a result that this batch did not write. Add ${optionName('overwrite')} to replace it, or choose another place with ${optionName('out')}.`,
  };
  if (!night.begun.has(found.key) && !merge.overwrite) {
    const names = await readdir(path).catch(() => []);
    if (await isEarlierResult(path, names)) return foreign;
  }
  const known = night.stacks.get(found.key);
  // A start after a good end means that the stack was taken up again: what stands there is known when it ends.
  if (!known?.done || known.state !== 'done') return { state: 'to do' };
  const result = await stateOfResult(path, known.done.result);
  if (result.state === 'foreign' && !merge.overwrite) return foreign;
  const isSame =
    known.done.options === mark && (await sameInputs(found.folder, found.files, known.done.files));
  if (!isSame || result.state === 'foreign') return { state: 'to do' };
  return result.state === 'whole' ? { state: 'finished' } : { state: 'to do', fault: result.fault };
}

/** Two that may run side by side get half of the bound each. */
function shareOfMemory({ memoryLimitMb }: ResolvedBatch, { isSmall }: StackNeeds): number | undefined {
  return memoryLimitMb !== undefined && isSmall ? memoryLimitMb / 2 : memoryLimitMb;
}

/** Without a bound a merge may keep frames in half of the free memory; of two side by side each in a quarter. */
function memoryBoundOf(memoryLimitMb: number | undefined, needs: StackNeeds): Pick<MergeOptions, 'memoryMb'> {
  if (memoryLimitMb !== undefined) return { memoryMb: memoryLimitMb };
  if (!needs.isSmall) return {};
  return { memoryMb: Math.max(needs.memoryMb, Math.floor(freemem() / 4e6)) };
}

function plannedOf({ key, name, folder, frames, size }: DiscoveredStack, estimateMs: number): PlannedStack {
  return { stack: key, name, folder, frames, size, estimateMs };
}

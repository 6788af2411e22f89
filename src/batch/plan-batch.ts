import { readdir } from 'node:fs/promises';
import { basename, join, relative } from 'node:path';
import { LamellaError } from '../errors.js';
import type { MergeOptions } from '../merge/options.js';
import { isResultFolder } from '../result/unfinished.js';
import { isEarlierResult } from '../stack/earlier-result.js';
import type { ResolvedBatch } from './batch-options.js';
import { paceFactor, type StackNeeds, stackNeeds } from './estimate.js';
import { findStacks, type InspectionCache } from './find-stacks.js';
import type { Findings, FoundStack, PassedFolder } from './found-stack.js';
import type { FailureKind, PlannedStack } from './night-events.js';
import type { NightState } from './night-state.js';
import { whyRefused } from './refuse-stack.js';
import { resultName, stackKey } from './result-name.js';
import { sameInputs } from './stack-inputs.js';
import { optionsMark, StackOptions } from './stack-options.js';

/** A stack that is to be merged. */
export interface Task extends StackNeeds {
  found: FoundStack;
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
  passed: PassedFolder[];
  partings: string[];
}

/** Finds the stacks below the root and compares them with what the night list says. */
export async function planBatch(
  batch: ResolvedBatch,
  night: NightState,
  look: { known?: InspectionCache; signal?: AbortSignal | undefined } = {},
): Promise<BatchPlan> {
  const { root, out, maxPixels, split } = batch;
  const findings = await findStacks(root, { exclude: [out], maxPixels, split, ...look });
  return planFound(batch, night, findings);
}

/** The plan for stacks that were found. */
export async function planFound(
  batch: ResolvedBatch,
  night: NightState,
  findings: Findings,
): Promise<BatchPlan> {
  const { passed, partings } = findings;
  const plan: BatchPlan = { tasks: [], faults: [], finished: [], passed, partings };
  const optionFiles = new StackOptions(batch.root, batch.merge);
  const runs = [...night.stacks.values()].flatMap(({ done }) => (done ? [done] : []));
  const pace = paceFactor(runs);
  for (const found of findings.stacks) {
    if (batch.retry && night.stacks.get(found.key)?.state !== 'failed') continue;
    const needs = stackNeeds(found, batch.budget);
    const estimateMs = Math.round(pace * needs.modelMs);
    const planned = plannedOf(found, estimateMs);
    const memoryLimitMb = shareOfMemory(batch, needs);
    let options: MergeOptions;
    try {
      options = {
        ...(await optionFiles.of(found)),
        threads: needs.threads,
        ...(memoryLimitMb !== undefined && { memoryMb: memoryLimitMb }),
      };
    } catch (error) {
      if (!(error instanceof LamellaError)) throw error;
      plan.faults.push({ planned, kind: 'options', reason: error.message });
      continue;
    }
    const refused = whyRefused(found, options);
    if (refused !== undefined) {
      plan.faults.push({ planned, kind: 'frames', reason: refused });
      continue;
    }
    const foreign = await foreignResult(batch, night, found);
    if (foreign !== undefined) {
      plan.faults.push({ planned, kind: 'output', reason: foreign });
      continue;
    }
    const mark = optionsMark(options);
    if (await isFinished(batch, night, found, mark)) plan.finished.push(planned);
    else plan.tasks.push({ ...needs, found, planned, options, mark, estimateMs, memoryLimitMb });
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

async function isFinished(
  { out }: ResolvedBatch,
  night: NightState,
  found: FoundStack,
  mark: string,
): Promise<boolean> {
  const known = night.stacks.get(found.key);
  // A failure after a good end means that the stack was taken up again, and why.
  if (!known?.done || known.state === 'failed') return false;
  return (
    known.done.options === mark &&
    (await isResultFolder(join(out, found.name))) &&
    (await sameInputs(found.folder, found.files, known.done.files))
  );
}

/** Why a result in the place of a stack's may not be replaced; undefined when it may, or there is none. */
async function foreignResult(
  { out, merge }: ResolvedBatch,
  night: NightState,
  found: FoundStack,
): Promise<string | undefined> {
  if (merge.overwrite || night.begun.has(found.key)) return undefined;
  const place = join(out, found.name);
  if (!(await isEarlierResult(place, await readdir(place).catch(() => [])))) return undefined;
  return `${place} already holds a result that this batch did not write. Add --overwrite to replace it, or choose another place with --out.`;
}

/** Two that may run side by side get half of the bound each. */
function shareOfMemory(
  { memoryLimitMb, budget }: ResolvedBatch,
  { threads }: StackNeeds,
): number | undefined {
  return memoryLimitMb !== undefined && threads < budget.threads ? memoryLimitMb / 2 : memoryLimitMb;
}

function plannedOf({ key, name, folder, frames, size }: FoundStack, estimateMs: number): PlannedStack {
  return { stack: key, name, folder, frames, size, estimateMs };
}

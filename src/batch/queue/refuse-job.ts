import { readdir } from 'node:fs/promises';
import { basename, dirname } from 'node:path';
import { setTimeout as delay } from 'node:timers/promises';
import { optionName } from '../../option-names.js';
import { isEarlierResult } from '../../stack/earlier-result.js';
import { programVersion } from '../../version.js';
import { jobMark } from '../job-mark.js';
import { readNightList } from '../night-list.js';
import { type NightState, nightState, type StackState } from '../night-state.js';
import { recordIn } from '../result-state.js';
import { changedInputs, unseenInputs } from '../stack-inputs.js';
import type { StackJob } from '../stack-job.js';
import { optionsMark } from '../stack-options.js';
import { boundsFault } from './path-bounds.js';
import { type QueuedStack, type Read, type Refusal, readQueuedStack } from './queue-messages.js';

/** Pauses between looks for what the batch wrote last: network storage may hand out what it knew before, ms. */
const pausesMs = [250, 750];

/**
 * What a worker takes from the queue, or why it does not. Anybody who reaches the queue can write to it, so the queue
 * only says what to look for: a job must lie below the worker's folders, and the night list of the batch in whose
 * folder it would write must say that just this job was begun.
 *
 * @param bounds See `resolveBounds`.
 */
export async function takeJob(
  found: unknown,
  bounds: readonly string[],
): Promise<{ queued: QueuedStack } | { refusal: Refusal }> {
  const read: Read<QueuedStack> = readQueuedStack(found);
  if ('fault' in read) {
    return refuse('options', `what the queue holds is no stack of this version of Lamella: ${read.fault}.`);
  }
  const queued = read.value;
  const ours = programVersion();
  if (queued.programVersion !== ours) {
    return refuse(
      'options',
      `the batch on ${queued.host} is Lamella ${queued.programVersion}, and this worker is Lamella ${ours}: install the same version on both.`,
    );
  }
  const { job } = queued;
  const outside = await boundsFault(job, bounds);
  if (outside !== undefined)
    return refuse('folder', `${outside}. Say so with ${optionName('below')} if it may.`);
  const unseen = unseenInputs(job.folder, job.files);
  if (unseen !== undefined) {
    return refuse(
      'folder',
      `it cannot see the photographs: ${unseen}. Give it the storage that the batch uses, under the same path.`,
    );
  }
  const { folder, files } = job;
  if (files.length > 0 && changedInputs(folder, files).length === files.length) {
    return refuse(
      'changed',
      `it sees other photographs in ${folder} than the batch: all ${files.length} differ in size or time. Give it the storage that the batch uses, under the same path.`,
    );
  }
  const unwanted = await unwantedResult(job);
  return unwanted === undefined ? { queued } : refuse('output', unwanted);
}

function refuse(kind: Refusal['kind'], reason: string): { refusal: Refusal } {
  return { refusal: { state: 'refused', kind, reason } };
}

/** Why the result of a job may not be written, as sentences; undefined when its batch waits for it. */
async function unwantedResult(job: StackJob): Promise<string | undefined> {
  const parent = dirname(job.out);
  let night = await nightIn(parent);
  for (const pauseMs of pausesMs) {
    if (night && begunStack(night, job)) break;
    await delay(pauseMs);
    await readdir(parent).catch(() => undefined);
    night = await nightIn(parent);
  }
  if (!night) {
    return `it finds no batch in ${parent}. Give it the storage that the batch uses, under the same path.`;
  }
  const stack = begunStack(night, job);
  if (!stack)
    return `the batch in ${parent} has not begun this stack, or not with these photographs and options.`;
  if (await isForeign(job, night, stack)) {
    return `${job.out} already holds a result that this batch did not write. Move it away, or give the batch ${optionName('overwrite')}.`;
  }
  return undefined;
}

async function nightIn(folder: string): Promise<NightState | undefined> {
  const events = await readNightList(folder).catch(() => undefined);
  return events && nightState(events);
}

/** The stack that a job merges, if its batch has begun just that and waits for its end. */
function begunStack(night: NightState, job: StackJob): StackState | undefined {
  const mark = jobMark(job);
  const name = basename(job.out);
  return [...night.stacks.values()].find(
    ({ planned, state, start }) => planned.name === name && state === 'running' && start?.job === mark,
  );
}

/** Whether a result in the place of a job's is neither one of its batch nor the one that the job would make again. */
async function isForeign(job: StackJob, night: NightState, { done }: StackState): Promise<boolean> {
  const names = await readdir(job.out).catch(() => []);
  if (!(await isEarlierResult(job.out, names)) || night.batch?.overwrite) return false;
  const record = await recordIn(job.out);
  // A damaged result is its batch's own if the batch had recorded one there.
  if (typeof record === 'string') return done === undefined;
  const isRecorded = done !== undefined && (done.result?.startedAt ?? record.startedAt) === record.startedAt;
  const isSame = record.folder === job.folder && optionsMark(record.options) === optionsMark(job.options);
  return !isRecorded && !isSame;
}

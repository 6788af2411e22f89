import type { BatchEvent } from '../../src/batch/batch-events.js';
import type { BatchOptions } from '../../src/batch/batch-options.js';
import { mergeStack } from '../../src/batch/merge-stack.js';
import { type BatchHooks, type BatchOutcome, runBatch } from '../../src/batch/run-batch.js';
import type { StackEnd, StackJob, StartStack } from '../../src/batch/stack-job.js';
import { openResult } from '../../src/result/result-folder.js';
import { writeRunRecord } from '../../src/result/write-run-record.js';
import { sampleRecord } from '../result/sample-record.js';

/** Merges in this process: the same code but for the child process, which costs a test a second of start. */
export const startHere: StartStack = (job, onEvent) => {
  const stop = new AbortController();
  return { pid: null, ended: mergeStack(job, onEvent, stop.signal), stop: () => stop.abort() };
};

/** Puts a result folder in place as a merge does, without the merging: for what concerns the batch alone. */
export const startStandIn: StartStack = (job) => ({ pid: null, ended: standIn(job), stop: () => {} });

async function standIn({ out, files }: StackJob): Promise<StackEnd> {
  const record = sampleRecord({});
  const result = await openResult(out, { overwrite: true });
  await writeRunRecord(result.dir, record);
  await result.commit();
  const finished = files.map((file) => ({ ...file, sha256: '0'.repeat(64) }));
  return {
    state: 'done',
    report: {
      ...{ frames: files.length, framesUsed: files.length, size: record.size, wallMs: 1 },
      ...{ verdicts: [], warnings: [], notes: [], files: finished, thumbnail: 'data:,' },
    },
  };
}

export interface Told extends BatchOutcome {
  events: BatchEvent[];
  /** Of the event with this name on this stack; undefined when there was none. */
  reasonOf: (event: 'failed' | 'put-off', stack: string) => string | undefined;
  /** Stacks that were begun, in order. */
  begun: string[];
}

/** A batch in this process, with one thread, and what it told. */
export async function batchHere(
  root: string,
  options: BatchOptions = {},
  hooks: BatchHooks = {},
): Promise<Told> {
  const events: BatchEvent[] = [];
  const onEvent = (event: BatchEvent): void => {
    events.push(event);
    hooks.onEvent?.(event);
  };
  const merge = { threads: 1, ...options.merge };
  const outcome = await runBatch(root, { ...options, merge }, { startStack: startHere, ...hooks, onEvent });
  return {
    ...outcome,
    events,
    begun: events.flatMap((event) => (event.event === 'begin' ? [event.planned.stack] : [])),
    reasonOf: (name, stack) =>
      events.flatMap((event) => (event.event === name && event.stack === stack ? [event.reason] : [])).at(-1),
  };
}

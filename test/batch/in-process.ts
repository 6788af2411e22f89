import { join } from 'node:path';
import sharp from 'sharp';
import type { BatchEvent } from '../../src/batch/batch-events.js';
import type { BatchOptions } from '../../src/batch/batch-options.js';
import { mergeStack } from '../../src/batch/merge-stack.js';
import { resultFacts } from '../../src/batch/result-state.js';
import { type BatchHooks, type BatchOutcome, runBatch } from '../../src/batch/run-batch.js';
import type { StackEnd, StackJob, StartStack } from '../../src/batch/stack-job.js';
import { openResult } from '../../src/result/result-folder.js';
import { writeRunRecord } from '../../src/result/write-run-record.js';
import { sampleFrame, sampleRecord } from '../result/sample-record.js';

/** Merges in this process: the same code but for the child process, which costs a test a second of start. */
export const startHere: StartStack = (job, onEvent) => {
  const stop = new AbortController();
  return { pid: null, ended: mergeStack(job, onEvent, stop.signal), stop: () => stop.abort() };
};

/** Puts a result folder in place as a merge does, without the merging: for what concerns the batch alone. */
export const startStandIn: StartStack = (job) => ({ pid: null, ended: standIn(job), stop: () => {} });

async function standIn({ out, folder, files, options }: StackJob): Promise<StackEnd> {
  const { size, composite, maps, ...others } = sampleRecord({
    folder,
    options,
    startedAt: new Date().toISOString(),
  });
  const finished = files.map((file) => ({ ...file, sha256: '0'.repeat(64) }));
  const frames = finished.map(({ name, sha256 }, i) => sampleFrame(i + 1, { name, sha256 }));
  const record = { ...others, size, composite, maps, frames };
  const result = await openResult(out, { overwrite: true });
  const { depth, depthPng, sources, confidence, coverage } = maps;
  const pictures = [composite, depth, depthPng, sources, confidence, coverage].map(({ file }) => file);
  const picture = sharp({ create: { ...size, channels: 3, background: '#806040' } });
  for (const file of pictures) await picture.clone().toFile(join(result.dir, file));
  await writeRunRecord(result.dir, record);
  await result.commit();
  return {
    state: 'done',
    report: {
      ...{ frames: files.length, framesUsed: files.length, size, wallMs: 1 },
      ...{
        verdicts: [],
        warnings: record.warnings,
        notes: record.notes,
        files: finished,
        thumbnail: 'data:,',
      },
      result: await resultFacts(out, record, [...pictures, 'run.json']),
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

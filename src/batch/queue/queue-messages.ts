import { isAbsolute, resolve } from 'node:path';
import type { MergeEvent, MergeStage } from '../../merge/merge-event.js';
import type { MergeOptions } from '../../options/merge-options.js';
import { findingShape } from '../../result/finding-shape.js';
import {
  anyObjectShape,
  booleanShape,
  listShape,
  nullableShape,
  numberShape,
  objectShape,
  oneOfShape,
  optionalShape,
  type Shape,
  type ShapeFault,
  sizeShape,
  textShape,
  wholeShape,
} from '../../result/shape.js';
import type { FailureKind } from '../night-events.js';
import { nameShape, reportShape } from '../night-shapes.js';
import type { InputFile } from '../stack-inputs.js';
import type { StackEnd, StackJob } from '../stack-job.js';

/** What a worker gets; paths hold on every machine. */
export interface QueuedStack {
  /** Of the batch: only the same program makes the same result. */
  programVersion: string;
  /** Machine of the batch. */
  host: string;
  /** Key of the stack, for words. */
  stack: string;
  frames: number;
  job: StackJob;
}

/** Why a worker does not take a stack that another may be able to merge. */
export interface Refusal {
  state: 'refused';
  kind: FailureKind;
  /** Completes the sentence "The worker ... does not take it: ...". */
  reason: string;
}

/** What a worker gives back. */
export interface WorkerAnswer {
  programVersion: string;
  /** Machine of the worker. */
  host: string;
  /** The worker among all that listen to the queue. */
  worker: string;
  end: Exclude<StackEnd, { state: 'stopped' }> | Refusal;
}

/** Anybody who reaches the queue can write to it: nothing that comes from it is larger than this, as JSON. */
const maxAnswerChars = 16_000_000;

const workerShape = /^[0-9a-f]{16}$/;
const kinds: readonly FailureKind[] = [
  ...(['frames', 'options', 'changed', 'output'] as const),
  ...(['memory', 'crash', 'defect', 'folder'] as const),
];
const kindShape = oneOfShape(...kinds);

const doneShape = objectShape<{ state: 'done'; report: object }>({
  state: oneOfShape('done'),
  report: reportShape,
});
const unfinishedShape = objectShape<{ state: string; kind: FailureKind; reason: string }>({
  state: oneOfShape('failed', 'refused'),
  kind: kindShape,
  reason: textShape(),
});
const endShape: Shape<WorkerAnswer['end']> = (value, field) => {
  const state = (value as { state?: unknown } | null | undefined)?.state;
  return state === 'done' ? doneShape(value, field) : unfinishedShape(value, field);
};
const answerShape = objectShape<WorkerAnswer>({
  programVersion: textShape(),
  host: textShape(),
  worker: textShape(workerShape, '16 hex digits'),
  end: endShape,
});

const pathShape: Shape<string> = (value, field) =>
  typeof value === 'string' && isAbsolute(value) && resolve(value) === value && !value.includes('\0')
    ? undefined
    : { field, expected: 'an absolute path', received: value };

const jobShape = objectShape<StackJob>({
  folder: pathShape,
  out: pathShape,
  options: anyObjectShape<MergeOptions>(),
  files: listShape(
    objectShape<InputFile>({
      name: nameShape,
      sizeBytes: wholeShape(0),
      modifiedMs: numberShape(),
      changedMs: numberShape(),
    }),
  ),
  wholeFolder: booleanShape,
  nice: numberShape(),
  memoryLimitMb: optionalShape(numberShape()),
});
const queuedShape = objectShape<QueuedStack>({
  programVersion: textShape(),
  host: textShape(),
  stack: textShape(),
  frames: wholeShape(0),
  job: jobShape,
});

const stages: readonly MergeStage[] = ['list', 'register', 'focus', 'surface', 'blend', 'write'];
const stageShape = oneOfShape(...stages);
const messageFields = { message: textShape() };
const eventShapes: Record<MergeEvent['event'], Shape<object>> = {
  start: objectShape({ folder: textShape(), out: textShape(), frames: wholeShape(0), size: sizeShape(0) }),
  stage: objectShape({ stage: stageShape }),
  progress: objectShape({
    stage: stageShape,
    done: numberShape(0),
    frames: numberShape(0),
    megapixelsPerS: nullableShape(numberShape(0)),
    leftS: optionalShape(numberShape(0)),
  }),
  note: objectShape(messageFields),
  warning: objectShape(messageFields),
  finding: objectShape({ finding: findingShape }),
  done: objectShape({
    out: textShape(),
    files: listShape(textShape()),
    fit: booleanShape,
    verdict: textShape(),
    wallMs: numberShape(0),
  }),
};

/** A message of the queue, or in words what is wrong with it. */
export type Read<T> = { value: T } | { fault: string };

/** What a worker finds in the queue. */
export function readQueuedStack(value: unknown): Read<QueuedStack> {
  return read(queuedShape, value);
}

/** What a batch finds in the queue as the end of a stack. */
export function readAnswer(value: unknown): Read<WorkerAnswer> {
  if (JSON.stringify(value ?? null).length > maxAnswerChars) {
    return { fault: `it has more than ${maxAnswerChars / 1e6} million characters` };
  }
  return read(answerShape, value);
}

/** What a batch hears of a merge in work; undefined for what no merge emits. */
export function readMergeEvent(value: unknown): MergeEvent | undefined {
  const name = (value as { event?: unknown } | null | undefined)?.event;
  if (typeof name !== 'string' || !Object.hasOwn(eventShapes, name)) return undefined;
  const fault = eventShapes[name as MergeEvent['event']](value, '');
  return fault === undefined ? (value as MergeEvent) : undefined;
}

function read<T>(shape: Shape<T>, value: unknown): Read<T> {
  const fault = shape(value, '');
  return fault === undefined ? { value: value as T } : { fault: faultText(fault) };
}

function faultText({ field, expected, received }: ShapeFault): string {
  const shown = received === undefined ? 'nothing' : JSON.stringify(received).slice(0, 60);
  return `expected ${expected}${field === '' ? '' : ` for ${field}`} but received ${shown}`;
}

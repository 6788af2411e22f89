import type { MergeOptions } from '../options/merge-options.js';
import { findingShape } from '../result/finding-shape.js';
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
  sha256Shape,
  sizeShape,
  textShape,
  timeShape,
  wholeShape,
} from '../result/shape.js';
import {
  type EndState,
  type FailureKind,
  type NightEvent,
  type NightEventOf,
  nightListSchema,
  nightListVersion,
  type PlannedStack,
  type ResultFacts,
  type StackReport,
} from './night-events.js';
import type { FinishedFile } from './stack-inputs.js';

/** A name of one file or folder. Half of a surrogate pair is no text that a link could hold. */
export const nameShape = textShape(/^(?!\.{1,2}$)[^/\0\p{Cs}]+$/u, 'the name of a file or folder');

const finishedFileShape = objectShape<FinishedFile>({
  name: nameShape,
  sizeBytes: wholeShape(0),
  modifiedMs: numberShape(),
  changedMs: numberShape(),
  sha256: nullableShape(sha256Shape),
});

const resultFactsShape = objectShape<ResultFacts>({
  startedAt: textShape(),
  files: listShape(finishedFileShape),
});

const reportFields: { [Key in keyof StackReport]-?: Shape<StackReport[Key]> } = {
  frames: wholeShape(0),
  framesUsed: wholeShape(0),
  size: sizeShape(0),
  wallMs: numberShape(0),
  findings: optionalShape(listShape(findingShape)),
  verdicts: listShape(textShape()),
  warnings: listShape(textShape()),
  notes: listShape(textShape()),
  files: listShape(finishedFileShape),
  thumbnail: textShape(/^data:[\w/+;=,]*$/, 'a picture as a data URI'),
  result: optionalShape(resultFactsShape),
};

export const reportShape = objectShape<StackReport>(reportFields);

/** The fields of a report and no others, so that none can take the place of a field of the event beside them. */
export function reportOf(report: StackReport): StackReport {
  const names = Object.keys(reportFields) as (keyof StackReport)[];
  return Object.fromEntries(names.map((name) => [name, report[name]])) as unknown as StackReport;
}

const plannedShape = objectShape<PlannedStack>({
  stack: textShape(),
  name: nameShape,
  folder: textShape(),
  frames: wholeShape(0),
  size: sizeShape(0),
  estimateMs: numberShape(0),
});

/** Damaged stacks of a list are left out one by one: what was said of the others holds. */
const anyListShape = listShape((() => undefined) as Shape<PlannedStack>);
const shared = <Name extends NightEvent['event']>(name: Name) => ({ at: timeShape, event: oneOfShape(name) });

/** What later versions may say besides is shown as it is. */
const laterWord = textShape();

const eventShapes: { [Name in NightEvent['event']]: Shape<NightEventOf<Name>> } = {
  batch: objectShape<NightEventOf<'batch'>>({
    ...shared('batch'),
    schema: oneOfShape(nightListSchema),
    version: oneOfShape(nightListVersion),
    programVersion: textShape(),
    pid: wholeShape(1),
    host: textShape(),
    root: textShape(),
    whole: booleanShape,
    overwrite: optionalShape(booleanShape),
    merge: optionalShape(anyObjectShape<Partial<MergeOptions>>()),
    stacks: anyListShape,
  }),
  found: objectShape<NightEventOf<'found'>>({ ...shared('found'), stacks: anyListShape }),
  start: objectShape<NightEventOf<'start'>>({
    ...shared('start'),
    stack: textShape(),
    pid: nullableShape(wholeShape(1)),
    began: nullableShape(textShape()),
    host: textShape(),
    job: optionalShape(textShape()),
  }),
  done: objectShape<NightEventOf<'done'>>({
    ...shared('done'),
    stack: textShape(),
    options: textShape(),
    modelMs: numberShape(0),
    ...reportFields,
  }),
  failed: objectShape<NightEventOf<'failed'>>({
    ...shared('failed'),
    stack: textShape(),
    kind: laterWord as Shape<FailureKind>,
    reason: textShape(),
    wallMs: numberShape(0),
  }),
  'put-off': objectShape<NightEventOf<'put-off'>>({
    ...shared('put-off'),
    stack: textShape(),
    reason: textShape(),
  }),
  end: objectShape<NightEventOf<'end'>>({
    ...shared('end'),
    state: laterWord as Shape<EndState>,
    reason: textShape(),
  }),
};

/** One parsed line of a night list; undefined when it is no event that this program can read. */
export function readEvent(value: unknown): NightEvent | undefined {
  const name = (value as { event?: unknown } | null)?.event;
  if (typeof name !== 'string' || !Object.hasOwn(eventShapes, name)) return undefined;
  if (eventShapes[name as NightEvent['event']](value, '') !== undefined) return undefined;
  const event = value as NightEvent;
  if (event.event !== 'batch' && event.event !== 'found') return event;
  return { ...event, stacks: event.stacks.filter((stack) => plannedShape(stack, '') === undefined) };
}

import { mkdtemp, readdir, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { check } from '../../../src/check/check.js';
import { type CheckOptions, resolveCheckOptions } from '../../../src/check/check-options.js';
import { minSample } from '../../../src/model/constants/model.js';
import { burstFrames, minKnownSteps } from '../../../src/model/constants/rail.js';
import type { Finding } from '../../../src/result/finding.js';
import { inspectFile } from '../../../src/stack/inspect-file.js';
import { LiveFindings } from '../../../src/watch/live-findings.js';
import { LiveStack } from '../../../src/watch/live-stack.js';
import { alignTable } from '../../align-table.js';
import { judgeReport } from './fault-table.js';
import { type PlainScene, type PlainStack, plainStack, plainStepMm } from './plain-stack.js';
import type { FaultName } from './plan-fault.js';
import { type Planted, plantFault } from './plant-fault.js';

/** What a watch said of a stack with a fault while its frames came in one by one. */
export interface WatchedFault {
  /** The frame with which the fault is in the stack; see `completeAt`. */
  completeAt: number;
  /** The frame at which the fault can be known, and that from which on it was named; undefined for never. */
  knownAt: number;
  namedAt: number | undefined;
  /** Alarms that have nothing to do with the fault: at the end, and those that later frames took back. */
  strays: string[];
  takenBack: string[];
}

/** Frames of the first step that has as many others beside it as it takes to say what is usual. */
const firstStepFrames = minKnownSteps + 2;
/** Frames of the fewest comparisons by which dust is found: each takes one before and one after it. */
const dustFrames = minSample + 2;
/** Frames that are read in full for hot pixels: some in focus, and one in which glints of the subject are blurred. */
const hotPixelFrames = burstFrames + 1;

/**
 * The frame with which a fault is in the stack: the last one at fault, of a step the frame behind it; but not before there
 * are as many frames as it must be compared with.
 */
function completeAt({ fault, frames }: Planted, count: number): number {
  switch (fault) {
    // Nothing is missing before the stack is said to be complete.
    case 'short behind':
      return count;
    case 'dust':
      return dustFrames;
    case 'hot pixels':
      return hotPixelFrames;
    // As planted: in the middle frame.
    case 'burnt highlights':
    case 'blocked shadows':
      return (count >> 1) + 1;
    default:
      return Math.max(firstStepFrames, ...frames);
  }
}

/** Faults that lie in the difference between frames: the smaller part of those that are in by then is at fault. */
const faultsOfFewer: readonly FaultName[] = [
  'mixed sizes',
  'exposure in EXIF',
  'aperture in EXIF',
  'white balance',
  'camera in EXIF',
  'lens in EXIF',
];

/** What is at fault in the first frames of a stack. */
function plantedIn(planted: Planted, count: number): Planted {
  const { fault, frames } = planted;
  if (!faultsOfFewer.includes(fault)) return planted;
  const odd = frames.filter((frame) => frame <= count);
  const others = Array.from({ length: count }, (_, i) => i + 1).filter((frame) => !odd.includes(frame));
  return { ...planted, frames: odd.length > others.length ? others : odd };
}

/** Whether an alarm is true of the first frames, though not of the whole stack. */
function isTrueSoFar({ fault, frames }: Planted, { kind, frames: named }: Finding): boolean {
  // To the frame from which the rail runs back it has gone as far ahead: a gap, until the others fill it.
  const jump = [frames[0] - 1, frames[0]];
  return fault === 'reversed turn' && kind === 'missed-step' && named.every((frame) => jump.includes(frame));
}

/** Plants a fault and hands the photographs in, one after the other, as a watch does. */
export async function watchFault(plain: PlainStack, fault: FaultName, seed: number): Promise<WatchedFault> {
  const folder = await mkdtemp(join(tmpdir(), 'lamella-watch-fault-'));
  try {
    const planted = await plantFault(plain, fault, seed, folder);
    // A plane hides nothing, so its order shows only to who knows the travel of the rail.
    const given = fault === 'reversed order' ? { stepMm: plainStepMm } : {};
    const live = new LiveStack(folder, resolveCheckOptions(given));
    const names = (await readdir(folder)).sort();
    const count = names.length;
    const shooting = new LiveFindings();
    const takenBack = new Set<string>();
    let namedAt: number | undefined;
    let strays: string[] = [];
    for (const [i, name] of names.entries()) {
      const inspected = await inspectFile(folder, name, 1e9);
      if (inspected.kind !== 'photograph') throw new Error(`${name} is ${inspected.kind}`);
      await live.take(inspected.photograph);
      live.judge();
      if (live.isCloserLookDue) await live.lookCloser(undefined);
      const judged = live.judge();
      if (!judged) continue;
      const isLast = i === count - 1;
      const shown = shooting.next(judged.findings, i + 1, live.count);
      const findings = isLast ? judged.findings : shown;
      const found = judgeReport(plantedIn(planted, i + 1), { findings, direction: judged.way.direction });
      namedAt = found.isFound ? (namedAt ?? i + 1) : undefined;
      strays = found.strays.map(textOf);
      if (isLast) continue;
      for (const stray of found.strays) {
        if (!isTrueSoFar(planted, stray)) takenBack.add(`${textOf(stray)} at ${i + 1}`);
      }
    }
    const stays = new Set(strays.map((stray) => stray.split(' ')[0]));
    const complete = completeAt(planted, count);
    return {
      completeAt: complete,
      knownAt: await knownAt(folder, planted, given, complete, namedAt ?? count),
      namedAt: fault === 'none' ? undefined : namedAt,
      strays,
      takenBack: [...takenBack].filter((stray) => !stays.has(stray.split(' ')[0])),
    };
  } finally {
    await rm(folder, { recursive: true, force: true });
  }
}

function textOf({ kind, frames }: Finding): string {
  return `${kind} ${frames.join(',')}`.trim();
}

/**
 * The frame at which a fault can be known: from `from` on the first with which `check`, which looks at all frames
 * together, finds it in the frames that are in; at the latest `to`.
 */
async function knownAt(
  folder: string,
  planted: Planted,
  given: Partial<CheckOptions>,
  from: number,
  to: number,
): Promise<number> {
  for (let count = from; count < to; count++) {
    const report = await check(folder, { ...given, frames: [1, count] });
    if (judgeReport(plantedIn(planted, count), report).isFound) return count;
  }
  return Math.max(from, to);
}

/** How soon a fault was named, over scenes and seeds. */
export interface WatchedRow {
  fault: FaultName;
  stacks: number;
  named: number;
  /** Frames after that with which it was in, and after that at which it can be known; 0 also where it was named before. */
  framesAfter: number[];
  framesLate: number[];
  falseAlarms: number;
  takenBack: number;
  /** What was missed, late or wrong: scene, seed and what. */
  misses: string[];
}

export const watchedLegend = `The same stacks as of the planted faults, handed in one frame at a time as lamella check --watch does.
named: named by the end. after: frames after the one with which the fault is in, mean: the last one at fault, of a step the frame
behind it, and as many as it must be compared with. late: frames after the one at which the fault can be known, mean and most: the
first with which lamella check finds it in the frames that are in.
false: an alarm at the end that is not due to the fault. taken back: an alarm that later frames took back.`;

/** Plants every fault in every scene of every seed, and watches the stacks come in. */
export async function measureWatched(
  seeds: readonly number[],
  scenes: readonly PlainScene[],
  wanted: readonly FaultName[],
  onProgress: (text: string) => void = () => {},
): Promise<WatchedRow[]> {
  const rows = wanted.map(
    (fault): WatchedRow => ({
      fault,
      stacks: 0,
      named: 0,
      framesAfter: [],
      framesLate: [],
      falseAlarms: 0,
      takenBack: 0,
      misses: [],
    }),
  );
  for (const seed of seeds) {
    for (const scene of scenes) {
      const plain = await plainStack(scene, seed);
      for (const row of rows) countWatched(row, await watchFault(plain, row.fault, seed), `${scene} ${seed}`);
      const missed = rows.flatMap(({ fault, misses }) =>
        misses.filter((miss) => miss.startsWith(`${scene} ${seed} `)).map((miss) => `${fault}: ${miss}`),
      );
      onProgress([`${scene}, seed ${seed}: ${rows.length} stacks watched`, ...missed].join('; '));
    }
  }
  return rows;
}

function countWatched(row: WatchedRow, watched: WatchedFault, name: string): void {
  const { completeAt: complete, knownAt: known, namedAt, strays, takenBack } = watched;
  row.stacks++;
  if (strays.length > 0) row.falseAlarms++;
  if (takenBack.length > 0) row.takenBack++;
  const told = [
    ...strays.map((stray) => `false: ${stray}`),
    ...takenBack.map((stray) => `taken back: ${stray}`),
  ];
  if (row.fault !== 'none') {
    if (namedAt === undefined) told.push('not named');
    else {
      row.named++;
      row.framesAfter.push(Math.max(0, namedAt - complete));
      row.framesLate.push(Math.max(0, namedAt - known));
      if (namedAt > known) told.push(`named at ${namedAt}, not ${known}`);
    }
  }
  if (told.length > 0) row.misses.push(`${name} ${told.join(', ')}`);
}

/** The rows as aligned text. */
export function formatWatched(rows: readonly WatchedRow[]): string {
  const meanOf = (values: readonly number[]) =>
    (values.reduce((sum, value) => sum + value, 0) / values.length).toFixed(1);
  return alignTable([
    ['fault', 'stacks', 'named', 'after: mean', 'late: mean', 'most', 'false', 'taken back'],
    ...rows.map(({ fault, stacks, named, framesAfter, framesLate, falseAlarms, takenBack }) => {
      const isNone = fault === 'none' || framesLate.length === 0;
      const figures = isNone
        ? ['-', '-', '-']
        : [meanOf(framesAfter), meanOf(framesLate), String(Math.max(...framesLate))];
      const numbers = [fault === 'none' ? '-' : String(named), ...figures];
      return [fault, String(stacks), ...numbers, String(falseAlarms), String(takenBack)];
    }),
  ]);
}

import { mkdtemp, readdir, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { resolveCheckOptions } from '../../../src/check/check-options.js';
import { inspectFile } from '../../../src/stack/inspect-file.js';
import { whileShooting } from '../../../src/watch/live-findings.js';
import { LiveStack } from '../../../src/watch/live-stack.js';
import { alignTable } from '../../align-table.js';
import { judgeReport } from './fault-table.js';
import { type PlainScene, type PlainStack, plainStack, plainStepMm } from './plain-stack.js';
import type { FaultName } from './plan-fault.js';
import { type Planted, plantFault } from './plant-fault.js';

/** What a watch said of a stack with a fault while its frames came in one by one. */
export interface WatchedFault {
  /** The frame at which the fault can be known, and that from which on it was named; undefined for never. */
  knownAt: number;
  namedAt: number | undefined;
  /** Alarms that have nothing to do with the fault: at the end, and those that later frames took back. */
  strays: string[];
  takenBack: string[];
}

/** Frames from which steps, and what is in focus where, can be compared with what is usual. */
const firstJudged = 6;
/** Frames that a search for dust compares; and between two closer looks. */
const dustFrames = 12;
const closerFrames = 6;

/**
 * The frame at which a fault can be known. That is the last frame that is at fault, for a step the frame behind it; but
 * not before there are frames to compare with.
 */
function knownAt({ fault, frames }: Planted, count: number): number {
  const last = Math.max(firstJudged, ...frames);
  switch (fault) {
    // Nothing is missing before the stack is said to be complete.
    case 'short behind':
      return count;
    case 'dust':
      return dustFrames;
    case 'hot pixels':
      return closerFrames;
    // As planted: in the middle frame.
    case 'burnt highlights':
    case 'blocked shadows':
      return (count >> 1) + 1;
    default:
      return last;
  }
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
    const takenBack = new Set<string>();
    let namedAt: number | undefined;
    let strays: string[] = [];
    for (const [i, name] of names.entries()) {
      const inspected = await inspectFile(folder, name, 1e9);
      if (inspected.kind !== 'photograph') throw new Error(`${name} is ${inspected.kind}`);
      await live.take(inspected.photograph);
      if (live.isCloserLookDue) await live.lookCloser(undefined);
      const judged = live.judge();
      if (!judged) continue;
      const isLast = i === names.length - 1;
      const findings = isLast ? judged.findings : whileShooting(judged.findings, i + 1, live.count);
      const found = judgeReport(planted, { findings, direction: judged.way.direction });
      namedAt = found.isFound ? (namedAt ?? i + 1) : undefined;
      strays = found.strays.map(({ kind, frames }) => `${kind} ${frames.join(',')}`.trim());
      if (!isLast) for (const stray of strays) takenBack.add(`${stray} at ${i + 1}`);
    }
    const stays = new Set(strays.map((stray) => stray.split(' ')[0]));
    return {
      knownAt: knownAt(planted, names.length),
      namedAt: fault === 'none' ? undefined : namedAt,
      strays,
      takenBack: [...takenBack].filter((stray) => !stays.has(stray.split(' ')[0])),
    };
  } finally {
    await rm(folder, { recursive: true, force: true });
  }
}

/** How soon a fault was named, over scenes and seeds. */
export interface WatchedRow {
  fault: FaultName;
  stacks: number;
  named: number;
  /** Frames after that at which it can be known, of each stack; 0 also where it was named before. */
  framesLate: number[];
  falseAlarms: number;
  takenBack: number;
  /** What was missed, late or wrong: scene, seed and what. */
  misses: string[];
}

export const watchedLegend = `The same stacks as of the planted faults, handed in one frame at a time as lamella check --watch does.
named: named by the end. late: frames after the one at which the fault can be known, mean and most.
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
  const { knownAt: known, namedAt, strays, takenBack } = watched;
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
      row.framesLate.push(Math.max(0, namedAt - known));
      if (namedAt > known) told.push(`named at ${namedAt}, not ${known}`);
    }
  }
  if (told.length > 0) row.misses.push(`${name} ${told.join(', ')}`);
}

/** The rows as aligned text. */
export function formatWatched(rows: readonly WatchedRow[]): string {
  return alignTable([
    ['fault', 'stacks', 'named', 'late: mean', 'most', 'false', 'taken back'],
    ...rows.map(({ fault, stacks, named, framesLate, falseAlarms, takenBack }) => {
      const mean = framesLate.reduce((sum, late) => sum + late, 0) / framesLate.length;
      const isNone = fault === 'none' || framesLate.length === 0;
      return [
        fault,
        String(stacks),
        fault === 'none' ? '-' : String(named),
        isNone ? '-' : mean.toFixed(1),
        isNone ? '-' : String(Math.max(...framesLate)),
        String(falseAlarms),
        String(takenBack),
      ];
    }),
  ]);
}

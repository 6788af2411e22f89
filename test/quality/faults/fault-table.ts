import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { check } from '../../../src/check/check.js';
import type { CheckReport } from '../../../src/check/check-report.js';
import type { Finding } from '../../../src/result/finding.js';
import { alignTable } from '../../align-table.js';
import { type PlainScene, plainStack, plainStepMm } from './plain-stack.js';
import type { FaultName } from './plan-fault.js';
import { type Planted, plantFault } from './plant-fault.js';

/** How often a fault was found, over scenes and seeds. */
export interface FaultRow {
  fault: FaultName;
  stacks: number;
  found: number;
  /** Stacks with alarms that have nothing to do with the fault. */
  falseAlarms: number;
  /** What was missed or told wrongly: scene, seed and kinds. */
  misses: string[];
}

export const faultLegend = `Stacks of 24 rendered frames, 640 x 480, noise 1.6 and flicker of 2 % in all, travel uneven by 10 %, one fault each.
found: the right verdict with the right frames; but told at all for too-coarse steps (three times the step), short stacks (6 to 9
frames cut off), reversed order (the direction, with the travel of the rail given), burnt highlights and blocked shadows (2 to 8 % of the picture). Of six specks of
dust at least one, of eight hot pixels at least half must be told, and no place that has none.
false: a verdict other than a note that is not due to the fault.
Aim: at least 95 % found; on clean stacks at most 1 false in 20.`;

const foundAim = 0.95;
const falseAim = 1 / 20;

/** Plants every fault in every scene of every seed, checks the stacks, and counts. */
export async function measureFaults(
  seeds: readonly number[],
  scenes: readonly PlainScene[],
  wanted: readonly FaultName[],
  onProgress: (text: string) => void = () => {},
): Promise<FaultRow[]> {
  const rows = wanted.map((fault): FaultRow => ({ fault, stacks: 0, found: 0, falseAlarms: 0, misses: [] }));
  for (const seed of seeds) {
    for (const scene of scenes) {
      const plain = await plainStack(scene, seed);
      for (const row of rows) {
        const folder = await mkdtemp(join(tmpdir(), 'lamella-fault-'));
        try {
          const planted = await plantFault(plain, row.fault, seed, folder);
          // A plane hides nothing, so its order shows only to who knows the travel of the rail.
          const options = row.fault === 'reversed order' ? { stepMm: plainStepMm } : {};
          count(row, planted, await check(folder, options), `${scene} ${seed}`);
        } finally {
          await rm(folder, { recursive: true, force: true });
        }
      }
      const missed = rows.flatMap(({ fault, misses }) =>
        misses.filter((miss) => miss.startsWith(`${scene} ${seed} `)).map((miss) => `${fault}: ${miss}`),
      );
      onProgress([`${scene}, seed ${seed}: ${rows.length} stacks checked`, ...missed].join('; '));
    }
  }
  return rows;
}

function count(row: FaultRow, planted: Planted, report: CheckReport, name: string): void {
  row.stacks++;
  const { isFound: found, strays } = judgeReport(planted, report);
  if (found) row.found++;
  if (strays.length > 0) row.falseAlarms++;
  if (!found || strays.length > 0) {
    const told = strays.map(({ kind, frames }) => `${kind} ${frames.join(',')}`).join('; ');
    row.misses.push(
      `${name} ${[...(found ? [] : ['not found']), ...(told === '' ? [] : [`false: ${told}`])].join(', ')}`,
    );
  }
}

/** Whether a fault was found, and the alarms that have nothing to do with it. */
export function judgeReport(
  planted: Planted,
  report: Pick<CheckReport, 'findings' | 'direction'>,
): { isFound: boolean; strays: Finding[] } {
  return {
    isFound: isFound(planted, report),
    strays: report.findings.filter((finding) => finding.rank !== 'note' && !isDue(planted, finding)),
  };
}

/** The verdict that belongs to a fault. */
const kinds: Record<FaultName, Finding['kind'] | undefined> = {
  none: undefined,
  'missed step': 'missed-step',
  'step not taken': 'step-not-taken',
  'shaken frame': 'blurred-frame',
  flicker: 'light',
  'too-coarse steps': 'too-coarse-steps',
  dust: 'dust',
  'reversed turn': 'reversed-turn',
  'reversed order': 'direction',
  'short in front': 'too-short-in-front',
  'short behind': 'too-short-behind',
  bump: 'bump',
  'burnt highlights': 'highlights',
  'blocked shadows': 'shadows',
  'hot pixels': 'hot-pixels',
  duplicate: 'duplicate',
  'time gap': 'time-gap',
  'mixed sizes': 'left-out',
  'exposure in EXIF': 'exposure',
  'aperture in EXIF': 'aperture',
  'white balance': 'white-balance',
  'camera in EXIF': 'camera',
  'lens in EXIF': 'lens',
};

function isFound(
  { fault, frames, specks, hotPixels }: Planted,
  report: Pick<CheckReport, 'findings' | 'direction'>,
): boolean {
  if (fault === 'none') return true;
  if (fault === 'reversed order') return report.direction === 'far-to-near';
  // Black may be meant, so it is told as a note.
  const told = report.findings.filter(
    ({ kind, rank }) => kind === kinds[fault] && (rank !== 'note' || fault === 'blocked shadows'),
  );
  if (told.length === 0) return false;
  const spots = told.flatMap((finding) => finding.spots ?? []);
  if (fault === 'dust') return spots.every((spot) => isAt(spot, specks, specksReach));
  if (fault === 'hot pixels') {
    const seen = hotPixels.filter((pixel) => isAt(pixel, spots, hotReach)).length;
    return seen >= hotPixels.length / 2 && spots.every((spot) => isAt(spot, hotPixels, hotReach));
  }
  const named = new Set(told.flatMap((finding) => finding.frames));
  // The frame at which a rail turns belongs to both runs.
  if (fault === 'reversed turn') return frames.slice(1, -1).every((frame) => named.has(frame));
  return frames.every((frame) => named.has(frame));
}

/** A told place this near to a speck's middle lies on it, px: the largest speck's radius and one more. */
const specksReach = 12;
/** JPEG may spread a pixel by one. */
const hotReach = 1.5;

function isAt(spot: { x: number; y: number }, places: readonly { x: number; y: number }[], reach: number) {
  return places.some(({ x, y }) => Math.hypot(x - spot.x, y - spot.y) <= reach);
}

/** Further verdicts that a fault brings with it: a frame that is left out leaves a gap, another exposure another light. */
const alsoDue: Partial<Record<FaultName, readonly Finding['kind'][]>> = {
  // Where frames lie far apart no one can tell a large step from none.
  'too-coarse steps': ['missed-step'],
  'mixed sizes': ['missed-step', 'too-short-in-front', 'too-short-behind'],
  'exposure in EXIF': ['light'],
};

/** Findings that a fault brings with it. */
function isDue({ fault, frames }: Planted, finding: Finding): boolean {
  if (finding.kind === kinds[fault]) {
    // Of single frames only those at fault, with their neighbours.
    const near = new Set(frames.flatMap((frame) => [frame - 1, frame, frame + 1]));
    return frames.length === 0 || finding.frames.every((frame) => near.has(frame));
  }
  return alsoDue[fault]?.includes(finding.kind) ?? false;
}

/** The rows as aligned text. */
export function formatFaults(rows: readonly FaultRow[]): string {
  const cells = [
    ['fault', 'stacks', 'found', 'found %', 'false'],
    ...rows.map(({ fault, stacks, found, falseAlarms }) => [
      fault,
      String(stacks),
      fault === 'none' ? '-' : String(found),
      fault === 'none' ? '-' : ((100 * found) / stacks).toFixed(1),
      String(falseAlarms),
    ]),
  ];
  return alignTable(cells);
}

/** What falls short of the aim, in words; empty when all is well. */
export function faultShortfalls(rows: readonly FaultRow[]): string[] {
  if (rows.length === 0) return [];
  const planted = rows.filter(({ fault }) => fault !== 'none');
  const sum = (read: (row: FaultRow) => number) => planted.reduce((total, row) => total + read(row), 0);
  const share =
    sum(({ found }) => found) /
    Math.max(
      1,
      sum(({ stacks }) => stacks),
    );
  const clean = rows.find(({ fault }) => fault === 'none');
  return [
    ...(share < foundAim
      ? [`Of all planted faults ${(100 * share).toFixed(1)} % were found, not 95 %.`]
      : []),
    ...planted
      .filter(({ found, stacks }) => found < foundAim * stacks)
      .map(({ fault, found, stacks }) => `${fault}: ${found} of ${stacks} found, less than 95 %.`),
    ...(clean && clean.falseAlarms > falseAim * clean.stacks
      ? [`${clean.falseAlarms} of ${clean.stacks} clean stacks raised an alarm, more than 1 in 20.`]
      : []),
  ];
}

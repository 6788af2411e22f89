import { sigmaPerMad } from '../image/median.js';
import { gapFalloff, minLongStep, outlierSigmas } from '../model/constants/model.js';
import { minStep } from '../model/constants/rail.js';
import { falloffAt } from '../model/optical-model.js';
import { nominalPosition, type RailTravel } from '../rail/rail-travel.js';
import type { FrameMotion } from '../register/motion-solution.js';
import type { Finding } from '../result/finding.js';
import { shortNumber } from '../result/report/numbers.js';
import type { FileCounter } from './file-numbers.js';
import { capital, framesText, numbersText } from './finding-text.js';
import { type RailScale, travelText } from './rail-scale.js';

/** Steps on each side from which the scatter of the steps is estimated. */
const scatterSteps = 6;
/**
 * The outline of a small subject comes into focus all at once, which looks like a long step: where fewer than this
 * share of the tiles measure a step, the threshold is raised by this factor.
 */
const smallTileShare = 0.1;
const smallShareFactor = 1.2;

/** What is known of the steps from other sources than the frames. */
export interface StepScale extends RailScale {
  counter?: FileCounter | undefined;
}

/** Where the rail turned, stood still, or went too far. */
export function stepFindings(
  frames: readonly FrameMotion[],
  { steps, tileShare }: RailTravel,
  width: number,
  scale: StepScale,
): Finding[] {
  const findings: Finding[] = [];
  const pair = (k: number): [number, number] => [frames[k].number, frames[k + 1].number];
  const backward = steps.flatMap((step, k) => (step <= -minStep ? [k] : []));
  /** Steps at the start and the end of a backward run: the rail makes up for it with long steps. */
  const besideBackward = new Set(backward.flatMap((k) => [k - 1, k, k + 1]));
  if (backward.length > 0) {
    const numbers = [...new Set(backward.flatMap(pair))];
    findings.push({
      kind: 'reversed-turn',
      rank: 'spoils',
      frames: numbers,
      message: `The plane of focus runs backwards over ${framesText(numbers)}: the rail turned, or the frames are out of order.`,
      advice: `Put ${framesText(numbers)} into order by their names, or shoot from frame ${numbers[0]} on again and turn the knob one way only.`,
    });
  }
  // An identical picture is reported as a duplicate.
  const still = steps.flatMap((step, k) => {
    const maxPlainStep = Math.min(minStep, 1 - outlierSigmas * scatterAround(steps, k));
    return Math.abs(step) < maxPlainStep && !frames[k + 1].sameAsPrevious ? [k] : [];
  });
  if (still.length > 0) {
    const numbers = [...new Set(still.flatMap(pair))];
    findings.push({
      kind: 'step-not-taken',
      rank: 'flaw',
      frames: numbers,
      message: `The rail did not move, or hardly, ${still.map((k) => `between frames ${numbersText(pair(k))}`).join(', ')}.`,
      advice: 'One of them is needless. If a motor lost a step here, see that the next ones are whole.',
    });
  }
  const long: LongStep[] = [];
  for (const [k, step] of steps.entries()) {
    const maxRegular = tileShare[k] < smallTileShare ? minLongStep * smallShareFactor : minLongStep;
    const plain = Math.max(maxRegular, 1 + outlierSigmas * scatterAround(steps, k));
    // NaN, a step that is not known, fails too.
    if (!(step >= plain) || besideBackward.has(k)) continue;
    const leavesGap = Number.isNaN(width) || -falloffAt(step / 2, width) > gapFalloff;
    long.push(longStep(pair(k), step, leavesGap, nominalPosition(steps, k), scale));
  }
  const [withGap, overlapping] = [true, false].map((wanted) =>
    long.filter(({ leavesGap }) => leavesGap === wanted),
  );
  return [...findings, ...missedSteps(withGap, 'spoils'), ...missedSteps(overlapping, 'flaw')];
}

/**
 * Scatter of the steps around one: standard deviation, from the median absolute deviation from 1. They are a dozen at most,
 * so that the median of an even number is the mean of the two in the middle: the larger of them would hide a fault in every
 * second frame while a stack grows.
 */
function scatterAround(steps: readonly number[], k: number): number {
  const off = steps
    .filter((step, i) => i !== k && Math.abs(i - k) <= scatterSteps && !Number.isNaN(step))
    .map((step) => Math.abs(Math.abs(step) - 1))
    .sort((one, other) => one - other);
  const half = off.length >> 1;
  if (off.length === 0) return 0;
  return sigmaPerMad * (off.length % 2 === 1 ? off[half] : (off[half - 1] + off[half]) / 2);
}

/** A step that is longer than it should be, in words. */
interface LongStep {
  pair: [number, number];
  leavesGap: boolean;
  /** "about 2 times as far as usual (0.1 mm): a step was missed or too large". */
  length: string;
  /** What closes the gap: "add a frame between 7 and 8". */
  remedy: string;
}

/** @param position Nominal position of the frame before the long step, usual steps from the first. */
function longStep(
  [from, to]: [number, number],
  step: number,
  leavesGap: boolean,
  position: number,
  scale: StepScale,
): LongStep {
  const between = Array.from({ length: to - from - 1 }, (_, i) => from + 1 + i);
  const files = scale.counter?.missingBetween(from, to) ?? [];
  const without = between.length > 0 ? framesText(between) : files.length > 0 ? namesText(files) : undefined;
  const known = Math.max(between.length, files.length);
  // The length of steps beyond `maxBeyondEnd` is not known.
  const count = Math.max(1, known, Math.round(step) - 1);
  const cause = without
    ? `${without} ${known === 1 ? 'is' : 'are'} not there`
    : count === 1
      ? 'a step was missed or too large'
      : `${count} steps were missed, or one was too large`;
  const mm = scale.stepMm === undefined ? '' : ` (${travelText(step * scale.stepMm, scale)})`;
  const back = without
    ? `put ${without} back`
    : `add ${count === 1 ? 'a frame' : `${count} frames`} between ${from} and ${to}`;
  return {
    pair: [from, to],
    leavesGap,
    length: `about ${shortNumber(step, 1)} times as far as usual${mm}: ${cause}`,
    remedy: `${back}${positionsText(position, count, scale)}`,
  };
}

/** One finding about all long steps of a rank: those that leave a gap spoil the picture. */
function missedSteps(long: readonly LongStep[], rank: 'spoils' | 'flaw'): Finding[] {
  if (long.length === 0) return [];
  const pairs = long.map(({ pair }) => pair);
  const [from, to] = pairs[0];
  const isOne = long.length === 1;
  const leavesGap = rank === 'spoils';
  const gap = isOne
    ? `, and what lies between ${from} and ${to} is sharp in neither`
    : '. What lies there is sharp in no frame';
  const message = isOne
    ? `From frame ${from} to ${to} the plane of focus went ${long[0].length}`
    : `${long.length} times the plane of focus went farther than usual: ${long
        .map(({ pair, length }) => `from frame ${pair[0]} to ${pair[1]} ${length}`)
        .join('; ')}`;
  const remedies = long.map(({ remedy }) => remedy).join('; ');
  return [
    {
      kind: 'missed-step',
      rank,
      frames: [...new Set(pairs.flat())],
      message: `${message}${leavesGap ? gap : ''}.`,
      advice: leavesGap
        ? `${capital(remedies)}${isOne ? ', or' : '. Or'} shoot from frame ${from} on again.`
        : 'The frames still overlap; keep the steps even next time.',
    },
  ];
}

/** Maximum number of positions that are listed one by one. */
const maxPositions = 3;

/** Positions of the missing frames, from that of the first frame. */
function positionsText(position: number, count: number, scale: StepScale): string {
  const { stepMm } = scale;
  if (stepMm === undefined) return '';
  const at = (i: number) => travelText((position + i) * stepMm, scale);
  const positions =
    count > maxPositions
      ? `${at(1)} to ${at(count)}`
      : Array.from({ length: count }, (_, i) => at(i + 1)).join(' and ');
  return `, at ${positions} from the first`;
}

function namesText(names: readonly string[]): string {
  return names.length > maxPositions ? `${names[0]} to ${names[names.length - 1]}` : names.join(' and ');
}

import type { Size } from '../image/image.js';
import { median } from '../register/median.js';
import type { FrameMotion } from '../register/motion-solution.js';
import { shortNumber } from '../result/report/numbers.js';
import { capital, type Finding, framesText, numbersText, skipText } from './finding.js';
import type { FocusCurves } from './focus-curves.js';
import { fallAt } from './focus-fit.js';
import { longestPlainStep, type RailTravel, shapesAt, standstill } from './rail-travel.js';
import type { FrameShake } from './shake.js';

/** Fall of a focus curve (ln energy) between two frames that leaves a gap: three quarters of an octave, as in the maps of a merge. */
const gapFall = 0.75 * Math.LN2;
/** A frame that is less sharp by so much along one direction is shaken: at the ends alone, elsewhere with the dip that goes with it. */
const clearUneven = 0.155;
const slightUneven = 0.13;
/** How many times the usual of the stack it must be. */
const unevenRatio = 3;
/** The same for the frames at both ends, which have a neighbour on one side only. */
const endUnevenRatio = 4;
const slightDip = 0.35;
/** How many of its standard errors it must be, as few tiles speak where little is in focus; fewer where registration finds the frame soft too. */
const unevenErrors = 3.5;
const softUnevenErrors = 2;
/** Loss in all directions that tells a shake without a direction. */
const clearDip = 0.9;
const softFrame = 0.75;
const fewCrests = 0.12;
/** Steps to either side that tell how surely steps are known here, and how many times their scatter an odd one departs. */
const scatterReach = 6;
const clearOfScatter = 3.5;
/** A small subject's outline comes into focus all at once, and looks like a long step: a longer one is asked for then. */
const fewVotes = 0.1;
const fewVotesFactor = 1.2;
/**
 * Jumps of the framing that count as a bump: part of the width, and times the usual jump. Of normal jitter one jump in
 * 65,000 is four times the usual: differences of two places are Rayleigh distributed, exp(-16 ln 2).
 */
const bumpPart = 0.01;
const bumpRatio = 4;
const bumpRollRad = 0.005;
/** And times the frames' residual at the corners: where all is blurred motion is not known better. */
const bumpDoubts = 4;

/** Indices of frames that are blurred as a whole. */
export function blurredFrames(
  shakes: readonly FrameShake[],
  frames: readonly FrameMotion[],
  curves: FocusCurves,
): Set<number> {
  const uneven = shakes.map((shake) => (Number.isNaN(shake.uneven) ? 0 : shake.uneven));
  const usual = median(Float64Array.from(uneven));
  /** Of the frames but one: a thin subject comes into focus in so few that a shaken one would count for itself. */
  const usualDip = (k: number) => {
    const others = shakes.flatMap(({ dip }, i) => (i === k || Number.isNaN(dip) ? [] : [dip]));
    return others.length > 0 ? median(Float64Array.from(others)) : -slightDip;
  };
  const blurred = shakes.flatMap(({ dip, unevenError }, k) => {
    const isMost = uneven[k] >= Math.max(uneven[k - 1] ?? 0, uneven[k + 1] ?? 0);
    const isEnd = k === 0 || k === shakes.length - 1;
    // Next to an end, and beside a thin subject, too few tiles may come into focus to show a dip.
    const isAlone = isEnd || Number.isNaN(dip);
    const isSoft = frames[k].sharpness < softFrame;
    const isSure = uneven[k] > (isSoft ? softUnevenErrors : unevenErrors) * unevenError;
    const oneWay = isMost && isSure && uneven[k] > (isAlone ? endUnevenRatio : unevenRatio) * usual;
    const along =
      oneWay &&
      uneven[k] > (isAlone ? clearUneven : slightUneven) &&
      (isAlone || dip > usualDip(k) + slightDip);
    const around = dip > clearDip && isSoft;
    // Where the rail turns tiles dip too, but others crest; after a shake hardly one does.
    if (!isEnd && (along || around) && shapesAt(curves, k - 1, k, k + 1).crests >= fewCrests) return [];
    return along || around ? [k] : [];
  });
  return new Set(blurred);
}

/** Frames that cannot be placed among the others. */
export function notAligned(lost: readonly FrameMotion[]): Finding[] {
  if (lost.length === 0) return [];
  const numbers = lost.map(({ number }) => number);
  return [
    {
      kind: 'not-aligned',
      rank: 'spoils',
      frames: numbers,
      message: `${capital(framesText(numbers))} cannot be aligned with the others: ${reasonOf(lost)}.`,
      advice: `See whether ${lost.length === 1 ? 'it belongs' : 'they belong'} to the stack; shoot again what is missing, or leave it out with --skip ${skipText(numbers)}.`,
    },
  ];
}

function reasonOf(lost: readonly FrameMotion[]): string {
  const reason = lost[0].reason ?? 'it has too little in common with its neighbours';
  return lost.length === 1 ? reason : reason.replace(/^it (has|shows)/, 'each $1');
}

/** What motion, steps and shakes say. `width` is the usual width of the focus curves in usual steps, NaN when unknown. */
export function motionFindings(
  frames: readonly FrameMotion[],
  travel: RailTravel,
  blurred: ReadonlySet<number>,
  width: number,
  size: Size,
): Finding[] {
  const findings = notAligned(frames.filter(({ usable }) => !usable));
  if (blurred.size > 0) {
    const numbers = [...blurred].map((k) => frames[k].number);
    findings.push({
      kind: 'blurred-frame',
      rank: 'spoils',
      frames: numbers,
      message: `${capital(framesText(numbers))} ${numbers.length === 1 ? 'is' : 'are'} less sharp than ${numbers.length === 1 ? 'its' : 'their'} neighbours all over, as if shaken during the exposure.`,
      advice: `Shoot ${framesText(numbers)} again: let the rail settle, and use a remote release or flash.`,
    });
  }
  return [...findings, ...stepFindings(frames, travel, width), ...bumps(frames, size)];
}

function stepFindings(
  frames: readonly FrameMotion[],
  { steps, votes }: RailTravel,
  width: number,
): Finding[] {
  const findings: Finding[] = [];
  const pair = (k: number): [number, number] => [frames[k].number, frames[k + 1].number];
  const back = steps.flatMap((step, k) => (step <= -standstill ? [k] : []));
  /** Where a run against the rail's way begins and ends, the rail makes up for it with long steps. */
  const aroundBack = new Set(back.flatMap((k) => [k - 1, k, k + 1]));
  if (back.length > 0) {
    const numbers = [...new Set(back.flatMap(pair))];
    findings.push({
      kind: 'reversed-turn',
      rank: 'spoils',
      frames: numbers,
      message: `The plane of focus runs backwards over ${framesText(numbers)}: the rail turned, or the frames are out of order.`,
      advice: `Put ${framesText(numbers)} into order by their names, or shoot from frame ${numbers[0]} on again and turn the knob one way only.`,
    });
  }
  // The very same picture is told as a duplicate.
  const still = steps.flatMap((step, k) => {
    const plain = Math.min(standstill, 1 - clearOfScatter * scatterAround(steps, k));
    return Math.abs(step) < plain && !frames[k + 1].sameAsPrevious ? [k] : [];
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
  for (const [k, step] of steps.entries()) {
    const longest = votes[k] < fewVotes ? longestPlainStep * fewVotesFactor : longestPlainStep;
    const plain = Math.max(longest, 1 + clearOfScatter * scatterAround(steps, k));
    // A step that is not known fails too.
    if (!(step >= plain) || aroundBack.has(k)) continue;
    const numbers = pair(k);
    const leavesGap = Number.isNaN(width) || -fallAt(step / 2, width) > gapFall;
    const [from, to] = numbers;
    const between = Array.from({ length: to - from - 1 }, (_, i) => from + 1 + i);
    const without = between.length > 0 ? framesText(between) : undefined;
    const cause = without
      ? `${without} ${between.length === 1 ? 'is' : 'are'} not there`
      : 'a step was missed or too large';
    const gap = leavesGap ? `, and what lies between ${from} and ${to} is sharp in neither` : '';
    findings.push({
      kind: 'missed-step',
      rank: leavesGap ? 'spoils' : 'flaw',
      frames: numbers,
      message: `From frame ${from} to ${to} the plane of focus went about ${shortNumber(step, 1)} times as far as usual: ${cause}${gap}.`,
      advice: !leavesGap
        ? 'The frames still overlap; keep the steps even next time.'
        : without
          ? `Put ${without} back, or shoot from frame ${from} on again.`
          : `Add a frame between ${from} and ${to}, or shoot from frame ${from} on again.`,
    });
  }
  return findings;
}

/** How much the steps around one scatter, standard deviation as the median deviation from 1 tells it. */
function scatterAround(steps: readonly number[], k: number): number {
  const off = steps
    .filter((step, i) => i !== k && Math.abs(i - k) <= scatterReach && !Number.isNaN(step))
    .map((step) => Math.abs(Math.abs(step) - 1));
  return off.length === 0 ? 0 : 1.4826 * median(Float64Array.from(off));
}

function bumps(frames: readonly FrameMotion[], size: Size): Finding[] {
  const jumps = frames.slice(1).map((frame, i) => {
    const before = frames[i];
    const known = frame.usable && before.usable;
    const x = frame.similarity.shiftXPx - before.similarity.shiftXPx;
    const y = frame.similarity.shiftYPx - before.similarity.shiftYPx;
    return {
      shiftPx: known ? Math.hypot(x, y) : 0,
      rollRad: known ? Math.abs(frame.similarity.rollRad - before.similarity.rollRad) : 0,
      doubtPx: bumpDoubts * Math.max(frame.residualPx || 0, before.residualPx || 0),
    };
  });
  const cornerPx = Math.hypot(size.width, size.height) / 2;
  const usualPx = median(Float64Array.from(jumps, ({ shiftPx }) => shiftPx));
  const usualRad = median(Float64Array.from(jumps, ({ rollRad }) => rollRad));
  return jumps.flatMap(({ shiftPx, rollRad, doubtPx }, i): Finding[] => {
    const shifted = shiftPx > Math.max(bumpPart * size.width, bumpRatio * usualPx, doubtPx);
    const turned = rollRad > Math.max(bumpRollRad, bumpRatio * usualRad, doubtPx / cornerPx);
    if (!shifted && !turned) return [];
    const numbers = [frames[i].number, frames[i + 1].number];
    return [
      {
        kind: 'bump',
        rank: 'flaw',
        frames: numbers,
        message: `Between frames ${numbersText(numbers)} the picture jumps by ${shortNumber(shiftPx, 1)} px${turned ? ` and turns by ${shortNumber((rollRad * 180) / Math.PI, 2)}°` : ''}, far more than elsewhere: camera or subject was bumped.`,
        advice:
          'A merge aligns this, but where the subject itself has moved it shows twice: look at the frames around, and shoot again if so.',
      },
    ];
  });
}

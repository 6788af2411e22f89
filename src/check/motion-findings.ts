import type { Size } from '../image/image.js';
import { median } from '../image/median.js';
import { optionName } from '../option-names.js';
import type { RailTravel } from '../rail/rail-travel.js';
import type { FrameMotion } from '../register/motion-solution.js';
import type { Finding } from '../result/finding.js';
import { shortNumber } from '../result/report/numbers.js';
import { capital, framesText, numbersText, skipText } from './finding-text.js';
import { type StepScale, stepFindings } from './step-findings.js';

/**
 * Minimum jump of the framing that counts as a bump: share of the width, and multiple of the median jump. With Gaussian
 * jitter one jump in 65,000 is four times the median: differences of two positions are Rayleigh distributed, exp(-16 ln
 * 2).
 */
const minBumpShare = 0.01;
const minBumpRatio = 4;
const minBumpRollRad = 0.005;
/** And multiple of the frames' residual at the corners, which is the uncertainty of the motion where all is blurred. */
const minBumpSigmas = 4;

/** Findings about frames that cannot be aligned with the others. */
export function notAligned(lost: readonly FrameMotion[]): Finding[] {
  if (lost.length === 0) return [];
  const numbers = lost.map(({ number }) => number);
  return [
    {
      kind: 'not-aligned',
      rank: 'spoils',
      frames: numbers,
      message: `${capital(framesText(numbers))} cannot be aligned with the others: ${reasonOf(lost)}.`,
      advice: `See whether ${lost.length === 1 ? 'it belongs' : 'they belong'} to the stack; shoot again what is missing, or leave it out with ${optionName('skip')} ${skipText(numbers)}.`,
      fixes: [{ skip: numbers }],
    },
  ];
}

function reasonOf(lost: readonly FrameMotion[]): string {
  const reason = lost[0].reason ?? 'it has too little in common with its neighbours';
  return lost.length === 1 ? reason : reason.replace(/^it (has|shows)/, 'each $1');
}

/**
 * Findings about motion, steps and shake. `width` is the median half width of the focus curves in usual steps, NaN when
 * unknown.
 *
 * @param scale What is known of the steps from the set-up and the names of the files.
 */
export function motionFindings(
  frames: readonly FrameMotion[],
  travel: RailTravel,
  blurred: ReadonlySet<number>,
  width: number,
  size: Size,
  scale: StepScale = {},
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
  return [...findings, ...stepFindings(frames, travel, width, scale), ...bumps(frames, size)];
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
      uncertaintyPx: minBumpSigmas * Math.max(frame.residualPx || 0, before.residualPx || 0),
    };
  });
  const cornerPx = Math.hypot(size.width, size.height) / 2;
  const usualPx = median(Float64Array.from(jumps, ({ shiftPx }) => shiftPx));
  const usualRad = median(Float64Array.from(jumps, ({ rollRad }) => rollRad));
  const bumped = jumps.flatMap(({ shiftPx, rollRad, uncertaintyPx }, i) => {
    const shifted = shiftPx > Math.max(minBumpShare * size.width, minBumpRatio * usualPx, uncertaintyPx);
    const turned = rollRad > Math.max(minBumpRollRad, minBumpRatio * usualRad, uncertaintyPx / cornerPx);
    if (!shifted && !turned) return [];
    const numbers: [number, number] = [frames[i].number, frames[i + 1].number];
    const turn = turned ? ` and turns by ${shortNumber((rollRad * 180) / Math.PI, 2)}°` : '';
    return [
      {
        numbers,
        where: `between frames ${numbersText(numbers)}`,
        what: `by ${shortNumber(shiftPx, 1)} px${turn}`,
      },
    ];
  });
  if (bumped.length === 0) return [];
  const often = bumped.map(({ where, what }) => `${where} ${what}`).join('; ');
  return [
    {
      kind: 'bump',
      rank: 'flaw',
      frames: [...new Set(bumped.flatMap(({ numbers }) => numbers))],
      message:
        bumped.length === 1
          ? `${capital(bumped[0].where)} the picture jumps ${bumped[0].what}, far more than elsewhere: camera or subject was bumped.`
          : `${bumped.length} times the picture jumps far more than elsewhere, ${often}: camera or subject was bumped.`,
      advice:
        'A merge aligns this, but where the subject itself has moved it shows twice: look at the frames around, and shoot again if so.',
    },
  ];
}

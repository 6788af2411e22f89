import { basename } from 'node:path';
import { filesText, rankWords } from '../check/check-text.js';
import { lengthText } from '../check/rail-scale.js';
import type { Finding } from '../result/finding.js';
import { percentText, shortNumber } from '../result/report/numbers.js';
import { verdictBefore } from '../result/verdict.js';
import { countOf } from '../stack/words.js';
import type { FrameVerdict, SubjectCoverage, WatchEvent } from './watch-events.js';

/** Share of clipped pixels that is told of a frame, percent; the findings have their own. */
const minClippedPercent = 0.5;
/** A single step is measured to about a tenth of the usual one: twice that is no difference. */
const usualScatter = 0.2;

/** An event in words, a line each; none for events that the lines of others tell. */
export function eventLines(event: WatchEvent): string[] {
  switch (event.event) {
    case 'begin':
      return [
        `Watching ${basename(event.folder)}${event.plannedFrames === null ? '' : ` for ${countOf(event.plannedFrames, 'frame')}`}: each frame is judged as it arrives.`,
      ];
    case 'arriving':
      return [];
    case 'frame':
      return [`${event.isGood ? '' : '! '}${frameText(event)}`];
    case 'finding':
      return findingLines(event.finding);
    case 'cleared':
      return [`Taken back: ${event.message}`];
    case 'renamed':
      return [`${event.from} is now ${event.to}.`];
    case 'gone':
      return [`${event.name} is gone; ${countOf(event.frames, 'frame')} left.`];
    case 'replaced':
      return [`${event.name} was replaced and is judged again.`];
    case 'passed-over':
      return [`${event.name} is no frame: ${event.reason}.`];
    case 'notice':
      return [event.message];
    case 'end':
      return [
        `${countOf(event.frames, 'frame')}. ${event.frames < 2 ? '' : verdictBefore(event.findings)}`.trim(),
        ...(event.frames < 2
          ? []
          : event.findings.filter(({ rank }) => rank !== 'note').flatMap(findingLines)),
      ];
  }
}

/** A frame in one line: where it is on the depth axis, its step, where it is sharp, and what is wrong with it. */
export function frameText(frame: FrameVerdict): string {
  const { number, name, part, sharpestPercent, isShaken, burntPercent } = frame;
  const step = stepText(frame);
  return [
    `Frame ${number} (${name}): at ${positionText(frame)}`,
    ...(step === undefined ? [] : [step]),
    ...(sharpestPercent > 0 ? [`sharp at ${part}`] : step === undefined ? [] : ['nothing in focus']),
    ...(isShaken ? ['shaken'] : []),
    ...(burntPercent >= minClippedPercent ? [`${percentText(burntPercent)} burnt out`] : []),
  ].join('; ');
}

function positionText({ positionSteps, positionMm }: FrameVerdict): string {
  return positionMm === null ? `${shortNumber(positionSteps, 1)} steps` : lengthText(positionMm);
}

/** How the step compares with the plan's, or with the usual one; undefined while it is not known. */
function stepText({ stepSteps, stepMm, plannedStepMm }: FrameVerdict): string | undefined {
  if (stepSteps === null) return undefined;
  if (stepMm === null || plannedStepMm === null) {
    return Math.abs(stepSteps - 1) <= usualScatter
      ? 'step as usual'
      : `step ${shortNumber(stepSteps, 1)} times the usual`;
  }
  return `step ${lengthText(stepMm)} where ${lengthText(plannedStepMm)} is planned`;
}

/** How many frames are to go, and how much of the subject is covered. */
export function coverageText({
  coveredPercent,
  framesToGo,
  framesToGoBy,
  isLeastToGo,
  isComplete,
}: SubjectCoverage): string {
  const covered =
    coveredPercent === null
      ? 'nothing has come into focus yet'
      : `${percentText(coveredPercent)} of the detail seen is covered`;
  const toGo =
    framesToGo !== null && framesToGo > 0
      ? `${isLeastToGo ? 'at least' : 'about'} ${framesToGo} to go${framesToGoBy === 'plan' ? '' : ' by the pictures'}`
      : isComplete
        ? 'nothing more is coming into focus'
        : framesToGo === 0
          ? 'the planned frames are in'
          : undefined;
  return toGo === undefined ? covered : `${toGo}; ${covered}`;
}

function findingLines({ rank, message, files = [], advice }: Finding): string[] {
  return [
    `  ${rankWords[rank]}: ${message}${files.length > 0 ? ` (${filesText(files)})` : ''}`,
    ...(advice ? [`  -> ${advice}`] : []),
  ];
}

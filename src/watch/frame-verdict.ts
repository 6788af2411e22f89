import { usualStepMm } from '../rail/given-travel.js';
import type { ToGo } from './frames-to-go.js';
import type { LiveJudgement } from './live-stack.js';
import type { FrameVerdict, SubjectCoverage } from './watch-events.js';
import type { WatchOptions } from './watch-options.js';

/** What a judgement says of one frame, by its index among those that are judged. */
export function frameVerdict(
  { evidence, focus, light }: LiveJudgement,
  k: number,
  options: WatchOptions,
): Omit<FrameVerdict, 'isGood'> {
  const { files, measurements, stackTravel } = evidence;
  const { steps, positions } = stackTravel.travel;
  const stepMm = usualStepMm(options) ?? null;
  const step = k === 0 || !Number.isFinite(steps[k - 1]) ? null : steps[k - 1];
  const planned = options.positionsMm;
  const { number, name } = files[k];
  const inMm = (count: number | null) => (count === null || stepMm === null ? null : count * stepMm);
  return {
    number,
    name,
    positionSteps: positions[k],
    positionMm: inMm(positions[k]),
    part: focus[k].part,
    centre: focus[k].centre ?? null,
    sharpestPercent: focus[k].sharpestPercent,
    stepSteps: step,
    stepMm: inMm(step),
    plannedStepMm:
      planned && number > 1 && number <= planned.length
        ? Math.abs(planned[number - 1] - planned[number - 2])
        : stepMm,
    isShaken: stackTravel.blurred.has(k),
    light: light[k] / light[0],
    burntPercent: measurements[k].burntPercent,
    blockedPercent: measurements[k].blockedPercent,
  };
}

/**
 * How far the subject is covered by the frames that are in.
 *
 * @param byPictures Frames to go as far as the pictures show them; see `FramesToGo`.
 */
export function subjectCoverage(
  { coverage, ahead, stack }: LiveJudgement,
  byPictures: ToGo | undefined,
  options: WatchOptions,
): SubjectCoverage {
  const { beforeFirst, afterLast, gapPercent, noDetail } = coverage;
  const shown = 100 - noDetail;
  const planned = options.plannedFrames ?? options.positionsMm?.length;
  const byPlan = planned === undefined ? null : Math.max(0, planned - stack.photographs);
  // A plan that has been shot is no end where something is still coming into focus.
  const isByPlan = byPlan !== null && (byPlan > 0 || byPictures === undefined);
  return {
    coveredPercent: shown > 0 ? (100 * (shown - beforeFirst - afterLast - gapPercent)) / shown : null,
    framesToGo: isByPlan ? byPlan : (byPictures?.frames ?? null),
    framesToGoBy: isByPlan ? 'plan' : byPictures === undefined ? null : 'pictures',
    isLeastToGo: !isByPlan && byPictures?.isLeast === true,
    isComplete: ahead ? byPictures === undefined && afterLast === 0 && shown > 0 : null,
  };
}

import { named, UsageError } from '../errors.js';
import { imageDistanceMm, subjectDistanceMm } from '../optics/close-up.js';
import { defocusStrehl, defocusWaves } from '../optics/diffraction.js';
import { frameCount, overlapOfStep, stepMm } from '../optics/stack-steps.js';
import { optionError } from '../option-error.js';
import { maxFrames } from '../stack/frame-limit.js';
import { type BestAperture, bestAperture } from './best-aperture.js';
import { type PlanDepth, planDepth } from './depth.js';
import { effortOf, type PlanEffort } from './effort.js';
import { type PlanLens, resolveLens } from './lens.js';
import { lengthText } from './number-text.js';
import type { PlanOptions } from './plan-options.js';
import { type RailPosition, railPositions } from './rail.js';
import { type PlanCircle, type PlanSensor, resolveSensor } from './sensor.js';
import { type PlanSharpness, planSharpness } from './sharpness.js';
import { stackNotes, stackWarnings } from './stack-notes.js';

/** A stack on a rail, planned. Lengths on the subject's side unless the name says otherwise. */
export interface StackPlan {
  kind: 'stack';
  options: PlanOptions;
  lens: PlanLens;
  sensor: PlanSensor & { widthMm: number; heightMm: number };
  circle: PlanCircle;
  fieldMm: { width: number; height: number };
  /** Of a thin lens; null where the focal length is unknown. */
  distancesMm: {
    /** Subject to the front principal plane. */
    working: number;
    /** Rear principal plane to the sensor. */
    image: number;
    /** Subject to sensor. */
    total: number;
  } | null;
  depth: PlanDepth;
  sharpness: PlanSharpness;
  /** Null when the pixel pitch is unknown. */
  bestAperture: BestAperture | null;
  step: {
    /** The step of this plan. */
    mm: number;
    from: 'overlap' | 'as asked';
    /** Overlap of the frames at this step; negative when they leave gaps. */
    overlapPercent: number;
    /** The step that follows from the overlap option, without gaps. */
    recommendedMm: number;
    /** The longest step that leaves no gaps: the combined depth of field. */
    longestMm: number;
    /** Unsharp slab between two frames; 0 for none. */
    gapMm: number;
    /** Blur halfway between two frames, at its worst. */
    halfway: { blurUm: number; blurPx: number | null; defocusWaves: number; strehl: number };
  };
  frames: number;
  travelMm: number;
  /** Null when the travel of a turn is unknown. */
  knobPerFrame: { degrees: number; marks: number | null } | null;
  effort: PlanEffort;
  positions: RailPosition[];
  warnings: string[];
  notes: string[];
}

/** Plans a stack from resolved options. Throws UsageError for impossible combinations. */
export function planStack(options: PlanOptions): StackPlan {
  const { sensor: found, circle, warnings } = resolveSensor(options);
  // The validation of the options guarantees that a stack has a sensor and a depth.
  const sensor = found as StackPlan['sensor'];
  const depthMm = options.depthMm as number;
  const lens = resolveLens(options, sensor.widthMm);
  const depth = planDepth(lens, circle, options.wavelengthNm);
  if (depth.combined.totalMm === Infinity) {
    throw new UsageError(
      `Expected a close-up but received a magnification of ${lens.magnification}, whose depth of field reaches to infinity: give ${named('landscape')} for a scene.`,
    );
  }
  const { totalMm } = depth.combined;
  const recommendedMm = stepMm(totalMm, options.overlapPercent / 100);
  const mm = options.stepMm ?? recommendedMm;
  const frames = frameCount(depthMm, mm);
  if (frames > maxFrames) {
    throw optionError(
      'depthMm',
      `a depth that takes ${maxFrames} frames at most, which one merge takes,`,
      depthMm,
      {
        shown: `${depthMm} mm`,
        why: `at a step of ${lengthText(mm)} it takes ${frames}. Check the depth, or plan for a smaller magnification or aperture`,
      },
    );
  }
  const knob =
    options.travelPerTurnMm === undefined
      ? undefined
      : { travelPerTurnMm: options.travelPerTurnMm, marksPerTurn: options.marksPerTurn };
  const turnsPerFrame = knob && mm / knob.travelPerTurnMm;

  const plan: StackPlan = {
    kind: 'stack',
    options,
    lens,
    sensor,
    circle,
    fieldMm: {
      width: sensor.widthMm / lens.magnification,
      height: sensor.heightMm / lens.magnification,
    },
    distancesMm: distancesOf(lens),
    depth,
    sharpness: planSharpness(lens.effectiveFNumber, sensor.pixelPitchUm, options.wavelengthNm),
    bestAperture: bestAperture(lens, sensor.pixelPitchUm, circle, options),
    step: {
      mm,
      from: options.stepMm === undefined ? 'overlap' : 'as asked',
      overlapPercent: 100 * overlapOfStep(mm, totalMm),
      recommendedMm,
      longestMm: totalMm,
      gapMm: Math.max(0, mm - totalMm),
      halfway: halfwayBlur(mm, lens, sensor.pixelPitchUm, options.wavelengthNm),
    },
    frames,
    travelMm: (frames - 1) * mm,
    knobPerFrame:
      turnsPerFrame === undefined
        ? null
        : {
            degrees: 360 * turnsPerFrame,
            marks: knob?.marksPerTurn ? turnsPerFrame * knob.marksPerTurn : null,
          },
    effort: effortOf(frames, sensor, options),
    positions: railPositions(frames, mm, knob),
    warnings,
    notes: [],
  };
  plan.warnings.push(...stackWarnings(plan));
  plan.notes.push(...stackNotes(plan));
  return plan;
}

function distancesOf({ focalLengthMm, magnification }: PlanLens): StackPlan['distancesMm'] {
  if (focalLengthMm === null) return null;
  const working = subjectDistanceMm(focalLengthMm, magnification);
  const image = imageDistanceMm(focalLengthMm, magnification);
  return { working, image, total: working + image };
}

/** Blur halfway between two frames: diameter m² / N_eff on the sensor per mm of defocus on the subject's side. */
function halfwayBlur(
  step: number,
  lens: PlanLens,
  pitchUm: number | null,
  wavelengthNm: number,
): StackPlan['step']['halfway'] {
  const blurUm = (1000 * (step / 2) * lens.magnification ** 2) / lens.effectiveFNumber;
  const waves = defocusWaves(step / 2, lens.numericalAperture, wavelengthNm);
  return {
    blurUm,
    blurPx: pitchUm === null ? null : blurUm / pitchUm,
    defocusWaves: waves,
    strehl: defocusStrehl(waves),
  };
}

import { frameCount, overlapOfStep } from '../optics/stack-steps.js';
import { optionName } from '../option-names.js';
import { fNumberText, framesText, lengthText, significant } from './number-text.js';
import type { StackPlan } from './stack-plan.js';

/** Minimum number of marks that a knob can be set to by hand. */
const fewMarks = 0.5;

/** Beyond twice life size a camera lens that is not reversed may have its plane of focus inside the barrel. */
const nearLens = 2;

/** Most macro lenses open to this f-number (common practice, no source). */
const usualWidest = 2.8;

/** From about here on the difference between marked and effective f-numbers matters. */
const closeUp = 0.2;

/** Warnings about what would spoil the stack, as sentences. */
export function stackWarnings(plan: StackPlan): string[] {
  const { step, depth, knobPerFrame } = plan;
  const warnings: string[] = [];
  if (step.gapMm > 0) {
    warnings.push(
      `A step of ${lengthText(step.mm)} leaves unsharp gaps of ${lengthText(step.gapMm)} between frames, whose depth of field is ` +
        `${lengthText(depth.combined.totalMm)}. Take ${lengthText(step.recommendedMm)} (${significant(plan.options.overlapPercent)} % overlap), ` +
        `and ${lengthText(step.longestMm)} at the very most.`,
    );
  }
  if (knobPerFrame && (knobPerFrame.marks ?? knobPerFrame.degrees / 2) < fewMarks) {
    const turn =
      knobPerFrame.marks === null
        ? `${significant(knobPerFrame.degrees)} degrees`
        : `${significant(knobPerFrame.marks)} marks`;
    warnings.push(
      `A frame takes ${turn} of the knob, too little to set by hand: use a finer rail, or a smaller aperture or magnification.`,
    );
  }
  if (depth.combined.totalMm >= (plan.options.depthMm as number)) {
    warnings.push(
      `One frame is sharp over ${lengthText(depth.combined.totalMm)}, more than the subject's ${lengthText(plan.options.depthMm as number)}: it may need no stack at all (check ${optionName('depthMm')}).`,
    );
  }
  return warnings;
}

/** Assumptions of the plan, as sentences. */
export function stackNotes(plan: StackPlan): string[] {
  const { lens, options, circle } = plan;
  const notes: string[] = [];
  const computed = options.fieldWidthMm === undefined && options.magnification === undefined;
  if (computed && options.ownMagnification !== 'infinity' && options.ownMagnification > closeUp) {
    notes.push(
      'Many macro lenses shorten their focal length when focused close, and then magnify more on tubes than the focal length engraved on them tells. ' +
        `Photograph a ruler and give ${optionName('fieldWidthMm')} to be sure.`,
    );
  }
  if (lens.markedFNumber !== null && lens.magnification > closeUp) {
    notes.push(
      options.fNumberIs === 'marked'
        ? `The f-number is taken as marked on the lens. If your camera shows another when focused close, it is the effective one: give ${optionName('fNumberIs')} effective.`
        : 'The f-number is taken as the effective one that the camera shows.',
    );
  }
  const best = plan.bestAperture;
  if (best?.possible && best.widestFNumber === null && (best.markedFNumber ?? usualWidest) < usualWidest) {
    notes.push(
      `Not every lens opens to the best aperture, ${fNumberText(best.markedFNumber as number)}: give ${optionName('widestFNumber')}, the f-number of yours wide open, so that no wider one is recommended.`,
    );
  }
  if (lens.focalLengthMm !== null && lens.magnification > nearLens) {
    notes.push(
      'At this magnification the plane of focus lies within 1.5 focal lengths of the principal plane, for many lenses inside their barrel: such lenses are used reversed.',
    );
  }
  if (circle.mm * 1000 < (plan.sensor.pixelPitchUm ?? 0)) {
    notes.push(
      'The circle of confusion is smaller than a pixel: the sensor cannot show blur as small as that.',
    );
  }
  const whole = wholeMarkStep(plan);
  if (whole !== undefined) notes.push(wholeMarksNote(whole));
  return notes;
}

/** A step of whole marks in a sentence. */
export function wholeMarksNote({ marks, stepMm, overlapPercent, frames }: WholeMarkStep): string {
  const marksText = marks === 1 ? 'one mark' : `${marks} marks`;
  return `Whole marks are easier to set: ${optionName('stepMm')} ${significant(stepMm, 4)} is ${marksText} a frame, ${significant(overlapPercent, 2)} % overlap, ${framesText(frames)}.`;
}

/** A step of whole marks of the knob. */
export interface WholeMarkStep {
  marks: number;
  stepMm: number;
  overlapPercent: number;
  frames: number;
}

/**
 * The step of whole marks nearest to that of the plan at which frames still overlap; undefined when the step is one
 * already or was asked for, when the marks are unknown, and when even one mark leaves gaps.
 */
export function wholeMarkStep({ step, options, knobPerFrame }: StackPlan): WholeMarkStep | undefined {
  const marks = knobPerFrame?.marks ?? null;
  if (options.stepMm !== undefined || marks === null) return undefined;
  const nearest = Math.max(1, Math.round(marks));
  if (Math.abs(marks - nearest) < 1e-6) return undefined;
  const overlaps = (count: number): boolean => (step.mm * count) / marks < step.longestMm;
  const whole = [nearest, nearest - 1].find((count) => count >= 1 && overlaps(count));
  if (whole === undefined) return undefined;
  const stepMm = (step.mm * whole) / marks;
  return {
    marks: whole,
    stepMm,
    overlapPercent: 100 * overlapOfStep(stepMm, step.longestMm),
    frames: frameCount(options.depthMm as number, stepMm),
  };
}

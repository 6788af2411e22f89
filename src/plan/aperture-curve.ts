import { markedFNumbers } from '../optics/f-stops.js';
import { stopDown } from '../optics/units.js';
import { type ApertureEffect, apertureEffect, lensAt } from './best-aperture.js';
import { isWider } from './lens.js';
import type { StackPlan } from './stack-plan.js';

/** What the apertures of a lens mean; a point for each. */
export interface ApertureCurve {
  /** Widest first, a third of a stop apart. */
  points: ApertureEffect[];
  /** That of the plan, which may lie between two points. */
  planned: ApertureEffect;
}

/** Widest aperture that is drawn where that of the lens is not known, and narrowest. */
const widestDrawn = 1.4;
const narrowestDrawn = 32;
/** Stops drawn on either side of an objective, which has but one aperture. */
const objectiveStops = 3;

/**
 * Diffraction against depth of field over the apertures of a lens: the wider, the finer the detail and the thinner the
 * slab of sharpness. For an objective, which has but one aperture, over those around it, for comparison.
 *
 * @returns Null when the pixel pitch is unknown, in which detail is measured.
 */
export function apertureCurve(plan: StackPlan): ApertureCurve | null {
  const { lens, circle, options } = plan;
  const { pixelPitchUm } = plan.sensor;
  if (pixelPitchUm === null) return null;
  const points = fNumbersOf(plan)
    .map((fNumber) => lensAt(lens, fNumber))
    .filter(({ numericalAperture }) => numericalAperture < 1)
    .map((choice) => apertureEffect(choice, pixelPitchUm, circle, options));
  return { points, planned: apertureEffect(lens, pixelPitchUm, circle, options) };
}

function fNumbersOf({ lens, options }: StackPlan): number[] {
  const { markedFNumber, effectiveFNumber } = lens;
  if (markedFNumber === null) {
    const count = 3 * objectiveStops;
    return Array.from({ length: 2 * count + 1 }, (_, i) => stopDown(effectiveFNumber, (i - count) / 3));
  }
  const widest = Math.min(options.widestFNumber ?? widestDrawn, markedFNumber);
  const narrowest = Math.max(narrowestDrawn, markedFNumber);
  return markedFNumbers.filter((marked) => !isWider(marked, widest) && !isWider(narrowest, marked));
}

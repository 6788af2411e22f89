import { named, UsageError } from '../errors.js';
import {
  effectiveFNumber,
  effectiveFNumberOfNa,
  extendedMagnification,
  markedFNumber,
  numericalAperture,
} from '../optics/close-up.js';
import { stopsBetween } from '../optics/units.js';
import { optionError } from '../option-error.js';
import type { PlanOptions } from './plan-options.js';

/** The lens of a stack as it is mounted. */
export interface PlanLens {
  magnification: number;
  /** Origin of the magnification, in words. */
  magnificationFrom: string;
  focalLengthMm: number | null;
  pupilRatio: number;
  /** Null for an objective, which has no marked f-number. */
  markedFNumber: number | null;
  effectiveFNumber: number;
  /** On the subject's side, in air. */
  numericalAperture: number;
  /** Against the marked f-number; null without one. */
  lightLostStops: number | null;
}

/** Magnification and aperture from the options. Throws UsageError for impossible values. */
export function resolveLens(options: PlanOptions, sensorWidthMm: number): PlanLens {
  const { magnification, from } = resolveMagnification(options, sensorWidthMm);
  const { pupilRatio } = options;
  const base = {
    magnification,
    magnificationFrom: from,
    focalLengthMm: options.focalLengthMm ?? null,
    pupilRatio,
  };
  if (options.numericalAperture !== undefined) {
    return {
      ...base,
      markedFNumber: null,
      effectiveFNumber: effectiveFNumberOfNa(options.numericalAperture, magnification),
      numericalAperture: options.numericalAperture,
      lightLostStops: null,
    };
  }
  // The validation of the options guarantees one of the two.
  const given = options.fNumber as number;
  const marked = options.fNumberIs === 'marked' ? given : markedFNumber(given, magnification, pupilRatio);
  const { widestFNumber } = options;
  if (widestFNumber !== undefined && isWider(marked, widestFNumber)) {
    const isMarked = options.fNumberIs === 'marked';
    throw optionError(
      'fNumber',
      `an aperture that the lens has, f/${widestFNumber} (${named('widestFNumber')}) or narrower,`,
      given,
      {
        shown: `f/${given}${isMarked ? '' : `, which is f/${Number(marked.toPrecision(2))} on its scale`}`,
      },
    );
  }
  const effective = effectiveFNumber(marked, magnification, pupilRatio);
  const aperture = numericalAperture(effective, magnification);
  if (aperture >= 1) {
    throw optionError('fNumber', 'an aperture that lenses in air can have', given, {
      shown: `f/${given} (${options.fNumberIs})`,
      why:
        `at ${Number(magnification.toPrecision(3))} x it would be a numerical aperture of ${aperture.toFixed(2)}, not below 1. ` +
        `Check both, ${named('pupilRatio')} and ${named('fNumberIs')}`,
    });
  }
  return {
    ...base,
    markedFNumber: marked,
    effectiveFNumber: effective,
    numericalAperture: aperture,
    lightLostStops: stopsBetween(marked, effective),
  };
}

/** Whether an aperture is wider than another by more than the rounding of marked f-numbers, a sixth of a stop. */
export function isWider(fNumber: number, than: number): boolean {
  return stopsBetween(fNumber, than) > 1 / 6;
}

function resolveMagnification(
  options: PlanOptions,
  sensorWidthMm: number,
): { magnification: number; from: string } {
  const { fieldWidthMm, magnification, ownMagnification, extensionMm, focalLengthMm } = options;
  if (fieldWidthMm !== undefined) {
    return {
      magnification: sensorWidthMm / fieldWidthMm,
      from: `measured, ${fieldWidthMm} mm across the picture`,
    };
  }
  if (magnification !== undefined) return { magnification, from: 'as given' };
  const own = ownMagnification === 'infinity' ? 0 : ownMagnification;
  const extended = extendedMagnification(own, extensionMm, focalLengthMm as number);
  if (extended === 0) {
    throw new UsageError(
      `Expected ${named('extensionMm')} or ${named('ownMagnification')} above 0 but received a lens at infinity without tubes, ` +
        `whose magnification is 0. For a scene that is focused by the ring, give ${named('landscape')}.`,
    );
  }
  const parts = [own === 0 ? 'lens at infinity' : `lens alone ${own} x`];
  if (extensionMm > 0) parts.push(`${extensionMm} mm extension on ${focalLengthMm} mm`);
  return { magnification: extended, from: parts.join(', ') };
}

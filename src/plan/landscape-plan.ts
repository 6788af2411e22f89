import { named } from '../errors.js';
import { type FocusedLens, focusDistances, hyperfocalM, zoneOfFocus } from '../optics/focus-distances.js';
import { convertLength } from '../optics/units.js';
import { optionError } from '../option-error.js';
import { optionName } from '../option-names.js';
import { effortOf, type PlanEffort } from './effort.js';
import { distanceText, fNumberText, significant } from './number-text.js';
import type { PlanOptions } from './plan-options.js';
import { type PlanCircle, type PlanSensor, resolveSensor } from './sensor.js';
import { type PlanSharpness, planSharpness } from './sharpness.js';

/** One frame of a landscape. Distances from the lens. */
export interface FocusFrame {
  /** From 1, the nearest. */
  frame: number;
  focusM: number;
  nearM: number;
  /** Null for infinity. */
  farM: number | null;
}

/** A scene from a fixed camera that is focused from near to far, planned. */
export interface LandscapePlan {
  kind: 'landscape';
  options: PlanOptions;
  sensor: PlanSensor;
  circle: PlanCircle;
  hyperfocalM: number;
  nearM: number;
  /** Null for infinity. */
  farM: number | null;
  sharpness: PlanSharpness;
  frames: number;
  focus: FocusFrame[];
  effort: PlanEffort;
  warnings: string[];
  notes: string[];
}

/** More settings than any focus ring has indicate a mistake in a distance or the circle. */
const maxFrames = 1000;

/** Plans a landscape from resolved options. Throws UsageError for impossible combinations. */
export function planLandscape(options: PlanOptions): LandscapePlan {
  const { sensor, circle, warnings } = resolveSensor(options);
  // The validation of the options guarantees these three.
  const lens: FocusedLens = {
    focalLengthMm: options.focalLengthMm as number,
    fNumber: options.fNumber as number,
    circleMm: circle.mm,
  };
  const nearM = options.nearM as number;
  const farM = options.farM === 'infinity' ? Infinity : options.farM;
  refuseDistances(lens, nearM, farM, options.closestFocusM);

  const zones = focusDistances(
    lens,
    nearM,
    farM,
    options.overlapPercent / 100,
    options.closestFocusM,
  ).reverse();
  if (zones.length > maxFrames) {
    throw optionError('nearM', `a distance that takes ${maxFrames} frames at most`, nearM, {
      why: `it takes ${zones.length} at ${fNumberText(lens.fNumber)}. Plan so near a subject as a stack on a rail, without ${named('landscape')}`,
    });
  }
  if (options.closestFocusM !== undefined && zones[0].nearM > nearM * (1 + 1e-9)) {
    const reach = zoneOfFocus(lens, options.closestFocusM).nearM;
    throw optionError('nearM', 'a subject no nearer than the lens can focus', nearM, {
      shown: `${nearM} m`,
      why:
        `${named('closestFocusM')} is ${options.closestFocusM} m. ` +
        `At ${fNumberText(lens.fNumber)} the lens reaches sharpness from ${distanceText(reach)} on`,
    });
  }
  const sharpness = planSharpness(lens.fNumber, sensor.pixelPitchUm, options.wavelengthNm);
  return {
    kind: 'landscape',
    options,
    sensor,
    circle,
    hyperfocalM: hyperfocalM(lens),
    nearM,
    farM: farM === Infinity ? null : farM,
    sharpness,
    frames: zones.length,
    focus: zones.map((zone, k) => ({
      frame: k + 1,
      focusM: zone.focusM,
      nearM: zone.nearM,
      farM: zone.farM === Infinity ? null : zone.farM,
    })),
    effort: effortOf(zones.length, sensor, options),
    warnings,
    notes: landscapeNotes(sharpness, lens),
  };
}

function refuseDistances(
  lens: FocusedLens,
  nearM: number,
  farM: number,
  closestFocusM: number | undefined,
): void {
  const focalM = convertLength(lens.focalLengthMm, 'mm', 'm');
  for (const [key, distance] of [
    ['nearM', nearM],
    ['closestFocusM', closestFocusM],
  ] as const) {
    if (distance !== undefined && distance <= focalM) {
      throw optionError(key, `a distance beyond the focal length of ${focalM} m`, distance, {
        why: 'of anything nearer a lens forms no picture',
      });
    }
  }
  if (farM <= nearM) {
    throw optionError('farM', `a distance beyond ${named('nearM')} ${nearM}`, farM);
  }
  if (lens.circleMm * lens.fNumber >= lens.focalLengthMm) {
    const apertureMm = significant(lens.focalLengthMm / lens.fNumber);
    throw optionError(
      'circle',
      `a circle of confusion smaller than the aperture, ${apertureMm} mm across,`,
      lens.circleMm,
    );
  }
}

function landscapeNotes(sharpness: PlanSharpness, lens: FocusedLens): string[] {
  const notes = [
    'Distances are from the lens (its front principal plane); scales on lenses count from the sensor, about a focal length more.',
    `Shot in this order, merge them with ${optionName('direction')} near-to-far.`,
  ];
  if (sharpness.limit === 'diffraction') {
    notes.push(
      `At ${fNumberText(lens.fNumber)} the Airy disc covers ${significant(sharpness.airyPx as number, 2)} pixels: diffraction limits the detail, and a wider aperture with more frames shows more.`,
    );
  }
  return notes;
}

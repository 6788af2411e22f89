import { named, UsageError } from '../errors.js';
import { refuseBoth, validateOptions, withDefaults } from '../options/validate-options.js';
import { planOptionTable } from './option-table.js';
import type { PlanOptions } from './plan-options.js';

/**
 * Complete options from those given, each checked against `planOptionTable` and against the others.
 * Throws UsageError; see `optionError`.
 */
export function resolvePlanOptions(given: Partial<PlanOptions>): PlanOptions {
  const checked = validateOptions(planOptionTable, given);
  refuseOtherKind(checked);
  if (checked.landscape) refuseLandscape(checked);
  else refuseStack(checked);
  refuseBoth(checked, 'pixels', 'pixelPitchUm');
  return withDefaults(planOptionTable, checked);
}

function refuseOtherKind(given: Partial<PlanOptions>): void {
  const kind = given.landscape ? 'landscape' : 'stack';
  for (const [field, { only }] of Object.entries(planOptionTable)) {
    if (given[field as keyof PlanOptions] === undefined || only === undefined || only === kind) continue;
    throw new UsageError(
      kind === 'stack'
        ? `Expected ${named('landscape')} beside ${named(field)}, which has no meaning in a stack on a rail.`
        : `Expected no ${named(field)} beside ${named('landscape')}: it has no meaning when the camera is focused by its ring.`,
    );
  }
}

function refuseLandscape(given: Partial<PlanOptions>): void {
  need(given, 'focalLengthMm', 'the focal length of the lens in mm');
  need(given, 'fNumber', 'the f-number');
  need(given, 'nearM', 'the distance in m of the nearest thing that shall be sharp');
}

function refuseStack(given: Partial<PlanOptions>): void {
  refuseBoth(given, 'fieldWidthMm', 'magnification');
  const measured = given.fieldWidthMm === undefined ? 'magnification' : 'fieldWidthMm';
  if (given[measured] !== undefined) {
    // A measured magnification includes the tubes already: adding them again would be a silent guess.
    refuseBoth(given, 'ownMagnification', measured);
    refuseBoth(given, 'extensionMm', measured);
  } else if (given.focalLengthMm === undefined) {
    throw new UsageError(
      `Expected ${named('focalLengthMm')} (with ${named('ownMagnification')} or ${named('extensionMm')}), ` +
        `${named('fieldWidthMm')} or ${named('magnification')}, from which the magnification follows, but received none of them.`,
    );
  }
  for (const key of ['fNumber', 'widestFNumber', 'fNumberIs', 'pupilRatio'] as const) {
    refuseBoth(given, key, 'numericalAperture');
  }
  if (given.fNumber === undefined && given.numericalAperture === undefined) {
    throw new UsageError(
      `Expected ${named('fNumber')} (of a lens) or ${named('numericalAperture')} (of an objective) but received neither.`,
    );
  }
  need(given, 'sensor', 'the size of the sensor');
  need(given, 'depthMm', 'the depth of the subject in mm');
  refuseBoth(given, 'stepMm', 'overlapPercent');
  if (given.marksPerTurn !== undefined) {
    need(given, 'travelPerTurnMm', `the travel of a turn in mm, beside ${named('marksPerTurn')}`);
  }
}

function need(given: Partial<PlanOptions>, key: keyof PlanOptions, what: string): void {
  if (given[key] === undefined) throw new UsageError(`Expected ${named(key)}, ${what}, but received none.`);
}

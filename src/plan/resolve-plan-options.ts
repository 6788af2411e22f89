import { named, UsageError } from '../errors.js';
import { optionError, showValue } from '../option-error.js';
import { describePlanRange, isPlanValue, type PlanOptionSpec, planOptionTable } from './option-table.js';
import type { PlanOptions } from './plan-options.js';

/** How notes and warnings of a plan call an option: by its field (for programs) or by its flag (for the command line). */
export type PlanNaming = 'field' | 'flag';

/** The name of an option in notes and warnings. */
export type NameOf = (key: keyof PlanOptions) => string;

const defaults = {
  landscape: false,
  ownMagnification: 'infinity',
  extensionMm: 0,
  pupilRatio: 1,
  fNumberIs: 'marked',
  circle: 'pixel',
  wavelengthNm: 550,
  overlapPercent: 30,
  farM: 'infinity',
} as const satisfies Partial<PlanOptions>;

/**
 * Complete options from those given, each checked against `planOptionTable` and against the others.
 * Throws UsageError; see `optionError`.
 */
export function resolvePlanOptions(given: Partial<PlanOptions>): PlanOptions {
  const known = new Map(planOptionTable.map((spec) => [spec.key as string, spec]));
  const kept: Record<string, unknown> = {};
  for (const [key, value] of Object.entries(given)) {
    if (value === undefined) continue;
    const spec = known.get(key);
    if (!spec) throw new UsageError(`Expected one of ${[...known.keys()].join(', ')} but received ${key}`);
    if (!isPlanValue(spec.kind, value)) throw refusal(spec, value);
    kept[key] = value;
  }
  // The loop has checked every field against the table, which declares each field of PlanOptions.
  const checked = kept as Partial<PlanOptions>;
  refuseOtherKind(checked);
  if (checked.landscape) refuseLandscape(checked);
  else refuseStack(checked);
  refuseBoth(checked, 'pixels', 'pixelPitchUm');
  return { ...defaults, ...checked };
}

/** How to name options in notes and warnings. */
export function namesOf(naming: PlanNaming): NameOf {
  return (key) => {
    const spec = planOptionTable.find((entry) => entry.key === key);
    return naming === 'flag' && spec ? `--${spec.flag}` : key;
  };
}

function refusal(spec: PlanOptionSpec, value: unknown): UsageError {
  return optionError(spec.key, describePlanRange(spec), value, {
    shown: show(value),
    ...(spec.why !== undefined && { why: spec.why }),
  });
}

function show(value: unknown): string {
  const isSize = typeof value === 'object' && value !== null && /width/i.test(Object.keys(value)[0]);
  return showValue(isSize ? Object.values(value).join('x') : value);
}

function refuseOtherKind(given: Partial<PlanOptions>): void {
  const kind = given.landscape ? 'landscape' : 'stack';
  for (const { key, only } of planOptionTable) {
    if (given[key] === undefined || only === undefined || only === kind) continue;
    throw new UsageError(
      kind === 'stack'
        ? `Expected ${named('landscape')} beside ${named(key)}, which has no meaning in a stack on a rail.`
        : `Expected no ${named(key)} beside ${named('landscape')}: it has no meaning when the camera is focused by its ring.`,
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
    // A measured magnification has the tubes in it already: adding them again would be a silent guess.
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

function refuseBoth(given: Partial<PlanOptions>, first: keyof PlanOptions, second: keyof PlanOptions): void {
  if (given[first] === undefined || given[second] === undefined) return;
  throw new UsageError(`Expected ${named(first)} or ${named(second)} but received both: keep one of them.`);
}

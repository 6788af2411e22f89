import { inspect } from 'node:util';
import { UsageError } from '../errors.js';
import { describePlanRange, isPlanValue, type PlanOptionSpec, planOptionTable } from './option-table.js';
import type { PlanOptions } from './plan-options.js';

/** How messages call an option: by its field (for programs) or by its flag (for the command line). */
export type PlanNaming = 'field' | 'flag';

/** The name of an option in messages. */
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
 * Throws UsageError, 'Expected <range> for <name> but received <value>: <why>'.
 */
export function resolvePlanOptions(given: Partial<PlanOptions>, naming: PlanNaming = 'field'): PlanOptions {
  const name = namesOf(naming);
  const known = new Map(planOptionTable.map((spec) => [spec.key as string, spec]));
  const kept: Record<string, unknown> = {};
  for (const [key, value] of Object.entries(given)) {
    if (value === undefined) continue;
    const spec = known.get(key);
    if (!spec) throw new UsageError(`Expected one of ${[...known.keys()].join(', ')} but received ${key}`);
    if (!isPlanValue(spec.kind, value)) throw refusal(spec, name(spec.key), value);
    kept[key] = value;
  }
  // The loop has checked every field against the table, which declares each field of PlanOptions.
  const checked = kept as Partial<PlanOptions>;
  refuseOtherKind(checked, name);
  if (checked.landscape) refuseLandscape(checked, name);
  else refuseStack(checked, name);
  refuseBoth(checked, name, 'pixels', 'pixelPitchUm');
  return { ...defaults, ...checked };
}

/** How to name options in messages. */
export function namesOf(naming: PlanNaming): NameOf {
  return (key) => {
    const spec = planOptionTable.find((entry) => entry.key === key);
    return naming === 'flag' && spec ? `--${spec.flag}` : key;
  };
}

function refusal(spec: PlanOptionSpec, name: string, value: unknown): UsageError {
  const why = spec.why ? `: ${spec.why}` : '';
  return new UsageError(
    `Expected ${describePlanRange(spec)} for ${name} but received ${show(value).slice(0, 60)}${why}`,
  );
}

function show(value: unknown): string {
  if (value === '') return 'an empty text';
  if (typeof value === 'string') return value;
  const isSize = typeof value === 'object' && value !== null && /width/i.test(Object.keys(value)[0]);
  return isSize ? Object.values(value).join('x') : inspect(value, { breakLength: 1e9 });
}

function refuseOtherKind(given: Partial<PlanOptions>, name: NameOf): void {
  const kind = given.landscape ? 'landscape' : 'stack';
  for (const { key, only } of planOptionTable) {
    if (given[key] === undefined || only === undefined || only === kind) continue;
    throw new UsageError(
      kind === 'stack'
        ? `Expected ${name('landscape')} beside ${name(key)}, which has no meaning in a stack on a rail.`
        : `Expected no ${name(key)} beside ${name('landscape')}: it has no meaning when the camera is focused by its ring.`,
    );
  }
}

function refuseLandscape(given: Partial<PlanOptions>, name: NameOf): void {
  need(given, name, 'focalLengthMm', 'the focal length of the lens in mm');
  need(given, name, 'fNumber', 'the f-number');
  need(given, name, 'nearM', 'the distance in m of the nearest thing that shall be sharp');
}

function refuseStack(given: Partial<PlanOptions>, name: NameOf): void {
  refuseBoth(given, name, 'fieldWidthMm', 'magnification');
  const measured = given.fieldWidthMm === undefined ? 'magnification' : 'fieldWidthMm';
  if (given[measured] !== undefined) {
    // A measured magnification has the tubes in it already: adding them again would be a silent guess.
    refuseBoth(given, name, 'ownMagnification', measured);
    refuseBoth(given, name, 'extensionMm', measured);
  } else if (given.focalLengthMm === undefined) {
    throw new UsageError(
      `Expected ${name('focalLengthMm')} (with ${name('ownMagnification')} or ${name('extensionMm')}), ` +
        `${name('fieldWidthMm')} or ${name('magnification')}, from which the magnification follows, but received none of them.`,
    );
  }
  for (const key of ['fNumber', 'widestFNumber', 'fNumberIs', 'pupilRatio'] as const) {
    refuseBoth(given, name, key, 'numericalAperture');
  }
  if (given.fNumber === undefined && given.numericalAperture === undefined) {
    throw new UsageError(
      `Expected ${name('fNumber')} (of a lens) or ${name('numericalAperture')} (of an objective) but received neither.`,
    );
  }
  need(given, name, 'sensor', 'the size of the sensor');
  need(given, name, 'depthMm', 'the depth of the subject in mm');
  refuseBoth(given, name, 'stepMm', 'overlapPercent');
  if (given.marksPerTurn !== undefined) {
    need(given, name, 'travelPerTurnMm', `the travel of a turn in mm, beside ${name('marksPerTurn')}`);
  }
}

function need(given: Partial<PlanOptions>, name: NameOf, key: keyof PlanOptions, what: string): void {
  if (given[key] === undefined) throw new UsageError(`Expected ${name(key)}, ${what}, but received none.`);
}

function refuseBoth(
  given: Partial<PlanOptions>,
  name: NameOf,
  first: keyof PlanOptions,
  second: keyof PlanOptions,
): void {
  if (given[first] === undefined || given[second] === undefined) return;
  throw new UsageError(`Expected ${name(first)} or ${name(second)} but received both: keep one of them.`);
}

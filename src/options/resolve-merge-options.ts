import { named, UsageError } from '../errors.js';
import { optionError, showValue } from '../option-error.js';
import {
  describeRange,
  maxFrameNumber,
  maxPositionMm,
  mergeOptionTable,
  type OptionSpec,
} from './merge-option-table.js';
import type { MergeOptions } from './merge-options.js';

/**
 * Complete options from those given, each checked against `mergeOptionTable` and against the others.
 * A field that is absent or undefined takes its default; `out`, which names a place and changes no
 * pixel, is passed over. Resolving the answer again gives the same answer.
 *
 * Throws UsageError, 'Expected <range> for <name> but received <value>'.
 */
export function resolveOptions(given: Partial<MergeOptions> & { out?: string }): MergeOptions {
  const received: Record<string, unknown> = { ...given };
  const known = new Set<string>(mergeOptionTable.map((spec) => spec.key));
  for (const name of Object.keys(received)) {
    if (name !== 'out' && !known.has(name)) {
      throw new UsageError(
        `Expected one of ${[...known].join(', ')} for an option but received ${showValue(name)}`,
      );
    }
  }

  const resolved: Record<string, unknown> = {};
  for (const spec of mergeOptionTable) {
    const value = received[spec.key] ?? (received[spec.key] === undefined ? spec.defaultValue?.() : null);
    if (value === undefined) continue;
    if (!isValid(spec, value)) {
      throw optionError(spec.key, describeRange(spec), value, { shown: faultOf(spec, value) });
    }
    resolved[spec.key] = Array.isArray(value) ? [...value] : value;
  }
  // The loop above has checked every field that MergeOptions declares.
  const options = resolved as unknown as MergeOptions;
  options.skip = [...new Set(options.skip)].sort((a, b) => a - b);
  refuseContradictions(options);
  return options;
}

function isValid(spec: OptionSpec, value: unknown): boolean {
  const { kind } = spec;
  switch (kind.type) {
    case 'choice':
      return kind.values.some((allowed) => allowed === value);
    case 'number':
      return (
        (kind.whole ? Number.isInteger(value) : isFiniteNumber(value)) && inRange(value, kind.min, kind.max)
      );
    case 'anchor':
      return value === 'first' || value === 'middle' || value === 'last' || isFrameNumber(value);
    case 'frameRange':
      return Array.isArray(value) && value.length === 2 && value.every(isFrameNumber) && value[0] < value[1];
    case 'frameList':
      return Array.isArray(value) && value.every(isFrameNumber);
    case 'positions':
      return Array.isArray(value) && value.length >= 2 && faultyPosition(value) === -1;
    case 'switch':
      return typeof value === 'boolean';
  }
}

function isFiniteNumber(value: unknown): value is number {
  return typeof value === 'number' && Number.isFinite(value);
}

function inRange(value: unknown, min: number, max: number): boolean {
  return isFiniteNumber(value) && value >= min && value <= max;
}

function isFrameNumber(value: unknown): boolean {
  return Number.isInteger(value) && inRange(value, 1, maxFrameNumber);
}

/**
 * Index of the first position that is no number in range or does not go on in the direction of the
 * first two; -1 when all do. A rail moves one way: a position that turns back is a mistyped line far
 * more often than a real one.
 */
function faultyPosition(positions: unknown[]): number {
  const falling = Number(positions[1]) < Number(positions[0]);
  return positions.findIndex((position, i) => {
    if (!inRange(position, -maxPositionMm, maxPositionMm)) return true;
    if (i === 0) return false;
    const travel = Number(position) - Number(positions[i - 1]);
    return falling ? travel >= 0 : !(travel > 0);
  });
}

/** What a message shows of a bad value: of positions the faulty one and its frame, not the whole list. */
function faultOf(spec: OptionSpec, value: unknown): string {
  if (!Array.isArray(value)) return showValue(value);
  if (spec.kind.type === 'frameRange') return showValue(value.join('-'));
  if (spec.kind.type === 'frameList') return showValue(value.join(','));
  if (spec.kind.type !== 'positions' || value.length < 2) return showValue(value);
  const positions: unknown[] = value;
  const i = faultyPosition(positions);
  const before = i > 0 ? ` after ${showValue(positions[i - 1])}` : '';
  return `${showValue(positions[i])}${before} (frame ${i + 1})`;
}

function refuseContradictions(options: MergeOptions): void {
  const both = (first: keyof MergeOptions, second: keyof MergeOptions): void => {
    if (options[first] !== undefined && options[second] !== undefined) {
      throw new UsageError(
        `Expected ${named(first)} or ${named(second)} but received both: keep one of them.`,
      );
    }
  };
  both('stepMm', 'positionsMm');
  both('fieldWidthMm', 'magnification');
  both('fieldWidthMm', 'pixelPitchUm');
  if ((options.magnification === undefined) !== (options.pixelPitchUm === undefined)) {
    const missing = options.magnification === undefined ? 'magnification' : 'pixelPitchUm';
    const present = options.magnification === undefined ? 'pixelPitchUm' : 'magnification';
    throw new UsageError(`Expected ${named(missing)} beside ${named(present)} but received only the latter.`);
  }
  if (options.format === 'jpg' && options.bits === 16) {
    throw optionError('bits', '8, the most that jpg holds,', 16);
  }
  refuseUnusedFrames(options);
}

/** The frames that are left must hold the anchor and make a stack of two at least. */
function refuseUnusedFrames(options: MergeOptions): void {
  const { anchor, frames, skip } = options;
  if (typeof anchor === 'number') {
    if (frames && !inRange(anchor, frames[0], frames[1])) {
      throw optionError('anchor', `a frame within ${named('frames')} ${frames.join('-')}`, anchor);
    }
    if (skip.includes(anchor)) throw optionError('anchor', `a frame that ${named('skip')} keeps`, anchor);
  }
  if (frames) {
    const skipped = skip.filter((number) => inRange(number, frames[0], frames[1]));
    if (frames[1] - frames[0] + 1 - skipped.length < 2) {
      throw optionError('skip', `two frames at least to remain of ${frames.join('-')}`, skip, {
        shown: showValue(skip.join(',')),
      });
    }
  }
}

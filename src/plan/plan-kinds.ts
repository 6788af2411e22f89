import { findSensorFormat, sensorFormats } from '../optics/sensor-formats.js';
import { showValue } from '../option-error.js';
import type { OptionKind } from '../options/option.js';
import { isWithin } from '../options/option-kinds.js';
import { readNumber } from '../options/read-number.js';
import { readQuantity } from '../options/read-quantity.js';
import type { PlanOptions } from './plan-options.js';

/** Sides of a sensor, mm. */
const minSideMm = 0.5;
const maxSideMm = 500;
const minPixels = 16;
const maxPixels = 1e6;
const minCircleMm = 0.0001;
const maxCircleMm = 1;

export const formatNames = sensorFormats.map(({ name }) => name).join(', ');

/** Width and height in mm, or the name of a format. */
export const sensorSize: OptionKind<NonNullable<PlanOptions['sensor']>> = {
  range: `width x height in mm from ${minSideMm} to ${maxSideMm}, such as 23.5x15.6, or one of ${formatNames}`,
  isValid: (value): value is NonNullable<PlanOptions['sensor']> =>
    isFormatName(value) || isPair(value, 'widthMm', 'heightMm', minSideMm, maxSideMm),
  read: (text) => {
    const sides = readSides(text, 'mm');
    return sides && { widthMm: sides[0], heightMm: sides[1] };
  },
  show: showSides,
  valueName: 'NAME|WxH',
};

/** Pixels across and down, or how many in all. */
export const pixelCount: OptionKind<NonNullable<PlanOptions['pixels']>> = {
  range: 'pixels across and down, such as 6000x4000, or megapixels, such as 24MP,',
  isValid: (value): value is NonNullable<PlanOptions['pixels']> =>
    isWithin(value, minPixels ** 2, maxPixels ** 2) ||
    (isPair(value, 'width', 'height', minPixels, maxPixels) && Object.values(value).every(Number.isInteger)),
  read: (text) => {
    const sides = readSides(text, 'px');
    if (sides) return { width: sides[0], height: sides[1] };
    const bare = readNumber(text);
    const megapixels = bare === undefined ? readQuantity(text, 'MP') : undefined;
    return megapixels === undefined ? bare : megapixels * 1e6;
  },
  show: showSides,
  valueName: 'WxH|MP',
};

/** Largest blur that counts as sharp: in mm, or by a named rule. */
export const blurCircle: OptionKind<PlanOptions['circle']> = {
  range: `a number from ${minCircleMm} to ${maxCircleMm} mm, pixel, format, or one of ${formatNames}`,
  isValid: (value): value is PlanOptions['circle'] =>
    value === 'pixel' ||
    value === 'format' ||
    isFormatName(value) ||
    isWithin(value, minCircleMm, maxCircleMm),
  read: (text) => readQuantity(text, 'mm'),
  valueName: 'MM|pixel|format|NAME',
};

function isFormatName(value: unknown): value is string {
  return typeof value === 'string' && findSensorFormat(value) !== undefined;
}

function isPair(value: unknown, first: string, second: string, min: number, max: number): value is object {
  if (typeof value !== 'object' || value === null) return false;
  const fields = value as Record<string, unknown>;
  return isWithin(fields[first], min, max) && isWithin(fields[second], min, max);
}

/** Two lengths in mm, or two counts of pixels, with x between; the unit may stand behind the second or both. */
function readSides(text: string, unit: 'mm' | 'px'): [number, number] | undefined {
  const sides = text.split(/[x×*]/i).map((side) => readQuantity(side, unit));
  return sides.length === 2 && sides[0] !== undefined && sides[1] !== undefined
    ? [sides[0], sides[1]]
    : undefined;
}

function showSides(value: unknown): string {
  const isSize = typeof value === 'object' && value !== null && /width/i.test(Object.keys(value)[0]);
  return showValue(isSize ? Object.values(value).join('x') : value);
}

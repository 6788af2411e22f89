import type { OptionKind, OptionTable } from '../options/option.js';
import { number } from '../options/option-kinds.js';
import { readQuantity } from '../options/read-quantity.js';
import { type ScaleOptions, scaleOptionTable } from '../relief/scale-options.js';
import type { Cutoff } from './roughness.js';

/** What lengths rest on beside the result itself, and how sure they are. */
export interface MeasureOptions extends ScaleOptions {
  /** Standard uncertainty of the scale as it was given, percent. Default 0. */
  scaleErrorPercent: number;
}

export const measureOptionTable: OptionTable<MeasureOptions> = {
  ...scaleOptionTable,
  scaleErrorPercent: {
    kind: number(0, 50, 'percent'),
    group: 'Scale',
    help: 'standard uncertainty of field width (or magnification) and step as they were given',
    default: 0,
  },
};

/** A wavelength in mm or pixels. */
export const cutoffKind: OptionKind<Cutoff> = {
  range: 'a length above 0 in mm, or in pixels as 50px,',
  isValid: (value): value is Cutoff =>
    typeof value === 'object' && value !== null && 'value' in value && Number(value.value) > 0,
  read: (text) => {
    const px = /px\s*$/i.test(text) ? readQuantity(text, 'px') : undefined;
    const value = px ?? readQuantity(text, 'mm');
    if (value === undefined || value <= 0) return undefined;
    return { value, unit: px === undefined ? 'mm' : 'px' };
  },
  valueName: 'MM',
};

import { showValue } from '../option-error.js';
import type { WhiteBalance } from '../stack/raw/development.js';
import type { OptionKind } from './option.js';
import { isWithin } from './option-kinds.js';

/** Smallest and largest factor of a colour; what lies beyond is a slip of the pen. */
const [minFactor, maxFactor] = [0.05, 20];

/** The white balance of raw files. */
export const whiteBalance: OptionKind<WhiteBalance> = {
  range: `camera, daylight or factors of red, green and blue from ${minFactor} to ${maxFactor}, such as 2.1,1,1.6,`,
  isValid: (value): value is WhiteBalance =>
    value === 'camera' ||
    value === 'daylight' ||
    (Array.isArray(value) &&
      value.length === 3 &&
      value.every((factor) => isWithin(factor, minFactor, maxFactor))),
  read: readWhiteBalance,
  show: (value) => showValue(Array.isArray(value) ? value.join(',') : value),
  valueName: 'camera|daylight|R,G,B',
};

function readWhiteBalance(text: string): unknown {
  if (!text.includes(',')) return text;
  const factors = text.split(',').map((part) => (part.trim() === '' ? Number.NaN : Number(part)));
  return factors.some(Number.isNaN) ? undefined : factors;
}

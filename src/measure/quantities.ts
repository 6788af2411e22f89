import type { Quantity, QuantityUnit } from '../result/measures-file.js';
import { coverageFactor, type Uncertain } from './propagate.js';

export const noDepth = 'no depth that may be trusted is known there';
export const noScale = 'pixels and steps have no common length unless field width and step are known';

/** A value that is known. */
export function known(name: string, { value, sigma }: Uncertain, unit: QuantityUnit): Quantity {
  const uncertainty = coverageFactor * sigma;
  return { name, value, uncertainty: Number.isFinite(uncertainty) ? uncertainty : null, unit };
}

/** A value that cannot be known, and why. */
export function unknown(name: string, unit: QuantityUnit, unknownBecause: string): Quantity {
  return { name, value: null, uncertainty: null, unit, unknownBecause };
}

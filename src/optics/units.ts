/** Units of length in use: wavelengths in nm, pixels in µm, subjects in mm, landscapes in m. */
export type LengthUnit = 'nm' | 'um' | 'mm' | 'm';

const metresPerUnit: Record<LengthUnit, number> = { nm: 1e-9, um: 1e-6, mm: 1e-3, m: 1 };

/** The same length in another unit. */
export function convertLength(value: number, from: LengthUnit, to: LengthUnit): number {
  return (value * metresPerUnit[from]) / metresPerUnit[to];
}

/**
 * Stops of light lost from one f-number to another; negative when light is won. Light falls as the
 * square of the f-number (ISO 517:2008, which sets the series of f-numbers), so a stop is a factor of √2.
 */
export function stopsBetween(fromFNumber: number, toFNumber: number): number {
  return 2 * Math.log2(toFNumber / fromFNumber);
}

/** The f-number that lies `stops` darker than `fNumber`; the inverse of `stopsBetween`. */
export function stopDown(fNumber: number, stops: number): number {
  return fNumber * 2 ** (stops / 2);
}

/**
 * The f-numbers that stand on lenses and in viewfinders, by thirds of a stop. The k-th stands for 2^(k/6);
 * whole stops as in ISO 517:2008, the rounding of the thirds is common practice, no source.
 */
export const markedFNumbers: readonly number[] = [
  ...[1, 1.1, 1.2, 1.4, 1.6, 1.8, 2, 2.2, 2.5, 2.8, 3.2, 3.5, 4, 4.5, 5, 5.6, 6.3, 7.1],
  ...[8, 9, 10, 11, 13, 14, 16, 18, 20, 22, 25, 29, 32, 36, 40, 45, 51, 57, 64],
];

/** The narrowest marked aperture that is no narrower than `fNumber`; undefined when that is wider than f/1. */
export function markedFNumberUpTo(fNumber: number): number | undefined {
  return markedFNumbers.findLast((_marked, k) => 2 ** (k / 6) <= fNumber * (1 + 1e-9));
}

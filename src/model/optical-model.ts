/**
 * The optical model, from which the stations take blur, focus curves and noise. Distances d along the axis are in steps
 * of the rail, wave numbers omega in radians per pixel.
 *
 * **Blur.** A point at d from the plane of focus is spread over a disc of the radius  r = kappa |d|  pixels (thin lens:
 * E. Hecht, Optics, 5th ed. 2017, ch. 5; kappa is the blur constant, pixels a step). A wave keeps the contrast
 * 2 J1(z) / z  with  z = omega r  (`disc-blur.ts`).
 *
 * **Focus curve.** The energy of a band of omega over the frames is, with noise N,
 *
 *   E(d) = S / (1 + (d / w)^2)^2 + N,    w = sqrt(8) / (omega kappa).
 *
 * Near the peak this is the disc's contrast squared, 1 - z^2 / 4 to second order: one blur constant gives the widths of
 * all bands, half the wave number twice the width. Measured shares of the peak at 1, 2, 3, 4 and 6 steps on rendered
 * scenes are .79, .43, .205, .10 and .03, the curve gives .78, .43, .21, .10 and .03.
 *
 * Tiles of the reduced frames hold broad detail, whose low frequencies fade late: over its whole length their curve
 * falls as (1 + (d / w)^2)^-1.5. On whole curves of an insect head with a blur of 1.4 px a step, a fit with the power 2
 * gave widths of 1.78 steps where the band's own width is 1.29, and so took steps half as long again for good enough; the
 * power 1.5 gives 1.24 where 1.11 is expected.
 *
 * **Noise.** N is the energy that pixels without detail show; what a pixel shows above it is E - N. Energies are
 * compared by their logarithm, which is held at half the noise: below it there is nothing to compare.
 */
import { curvePower, peakPower } from './constants/model.js';

/** Falloff of a whole curve at a distance from its peak, ln energy; negative. */
export function falloffAt(distance: number, width: number): number {
  return -curvePower * Math.log1p((distance / width) ** 2);
}

/** Distance from the peak at which the curve has fallen by `falloff` (ln energy, positive). */
export function distanceOfFalloff(falloff: number, width: number, power = curvePower): number {
  return width * Math.sqrt(Math.expm1(falloff / power));
}

/** Half width, steps, of a curve that loses `bend` octaves over a step to either side of its peak, together. */
export function widthOfBend(bend: number): number {
  return 1 / Math.sqrt(2 ** (bend / (2 * peakPower)) - 1);
}

/**
 * Blur constant kappa, pixels a step, of curves of that bend in the band of `frequency`, cycles per pixel: to second order
 * energy falls by (omega kappa / 2)^2 in a step.
 */
export function blurOfBend(bend: number, frequency: number): number {
  return Math.sqrt(bend / (2 * Math.LOG2E)) / (Math.PI * frequency);
}

/** Part of its contrast that detail loses in a step, of curves of that bend: half the falloff of its energy, (ln 2 / 4) bend. */
export function lossOfBend(bend: number): number {
  return (Math.LN2 / 4) * bend;
}

/** ln of the energy above noise, not below that of half the noise. NaN stays NaN. */
export function levelAboveNoise(energy: number, noise: number): number {
  return Math.log(Math.max(energy - noise, noise / 2));
}

/** The level, as `levelAboveNoise` has it, of detail that shows so many octaves of energy above the noise. */
export function levelOfOctaves(octaves: number, noise: number): number {
  return Math.log((2 ** octaves - 1) * noise);
}

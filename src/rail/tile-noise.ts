import { median } from '../image/median.js';
import { extremeShare, minSample } from '../model/constants/model.js';
import { maxMidtone, minMidtone, roundingEnergy } from '../model/constants/rail.js';
import { directionCount } from './detail-grid.js';
import type { TileCurves } from './tile-curves.js';

/** Energy of the noise, mean of horizontal and vertical: a low quantile of the tiles' minimum energy over the stack. */
export function noiseEnergy(curves: TileCurves): number {
  const minima = tileMinima(curves, isMidtone);
  const values = (minima.length >= minSample ? minima : tileMinima(curves, () => true)).sort((p, q) => p - q);
  return Math.max(roundingEnergy, values[Math.floor(extremeShare * values.length)] ?? 0);
}

/**
 * Scales down the energy of the darkest and the brightest tiles, in place, so that their noise is no stronger than that
 * of the midtones: noise in a dark ground would pass for detail.
 */
export function equaliseNoise(curves: TileCurves): void {
  const midtone = noiseEnergy(curves);
  const values = curves.frames * directionCount;
  for (const isExtreme of [(light: number) => light < minMidtone, (light: number) => light > maxMidtone]) {
    const minima = tileMinima(curves, isExtreme);
    const own = median(Float64Array.from(minima));
    if (minima.length < minSample || own <= midtone) continue;
    for (const [tile, light] of curves.light.entries()) {
      if (!isExtreme(light)) continue;
      for (let i = tile * values; i < (tile + 1) * values; i++) curves.energy[i] *= midtone / own;
    }
  }
}

/**
 * Scales what each frame shows above noise to the light of the anchor, in place: less light shows less detail, as blur does. Noise
 * stays as it is. In encoded values it hardly depends on the light, and scaled with the detail it would come and go with the
 * exposure of the frames, as detail does with the focus.
 *
 * @param gainRatios Of each frame: multiply its encoded brightness by this to match the anchor.
 */
export function matchLight(curves: TileCurves, gainRatios: readonly number[]): void {
  const noise = noiseEnergy(curves);
  const { energy, frames } = curves;
  for (let i = 0; i < energy.length; i++) {
    const gain = gainRatios[Math.floor(i / directionCount) % frames];
    if (energy[i] > noise) energy[i] = noise + gain ** 2 * (energy[i] - noise);
  }
}

function isMidtone(light: number): boolean {
  return light >= minMidtone && light <= maxMidtone;
}

/** The minimum energy over the stack of each tile of a brightness. */
function tileMinima(
  { frames, energy, light }: TileCurves,
  isOfBrightness: (light: number) => boolean,
): number[] {
  const minima: number[] = [];
  for (const [tile, own] of light.entries()) {
    if (!isOfBrightness(own)) continue;
    let minimum = Number.POSITIVE_INFINITY;
    for (let k = 0; k < frames; k++) {
      const at = (tile * frames + k) * directionCount;
      // NaN, outside a frame's bounds, is never smaller.
      const value = (energy[at] + energy[at + 1]) / 2;
      if (value < minimum) minimum = value;
    }
    if (Number.isFinite(minimum)) minima.push(minimum);
  }
  return minima;
}

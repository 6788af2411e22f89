import { median } from '../image/median.js';
import { directionCount } from './detail-grid.js';
import type { TileCurves } from './tile-curves.js';

/** Part of the tiles, by their least energy over the stack, that show noise alone in some frame. */
const plainPart = 0.1;
/** Energy of rounding to 8 bits, which pictures without noise still have. */
const roundingEnergy = 0.3;
/** Brightness from and to which noise is of one strength, about, 8-bit levels: shadows may have more, or be cut off. */
const evenFrom = 16;
const evenTo = 240;
/** Fewer tiles do not tell the noise. */
const fewestForNoise = 20;

/** Energy of the noise, across and down, as the least of each tile over the stack shows it. */
export function noiseOf(curves: TileCurves): number {
  const lows = lowsOf(curves, isEven);
  const values = (lows.length >= fewestForNoise ? lows : lowsOf(curves, () => true)).sort((p, q) => p - q);
  return Math.max(roundingEnergy, values[Math.floor(plainPart * values.length)] ?? 0);
}

/**
 * Lowers the energy of the darkest and the brightest tiles, in place, so that their noise is no stronger than that of the
 * others: a dark ground would pass for detail that comes and goes by chance.
 */
export function evenNoise(curves: TileCurves): void {
  const usual = noiseOf(curves);
  const values = curves.frames * directionCount;
  for (const isOdd of [(light: number) => light < evenFrom, (light: number) => light > evenTo]) {
    const lows = lowsOf(curves, isOdd);
    const own = median(Float64Array.from(lows));
    if (lows.length < fewestForNoise || own <= usual) continue;
    for (const [tile, light] of curves.light.entries()) {
      if (!isOdd(light)) continue;
      for (let i = tile * values; i < (tile + 1) * values; i++) curves.energy[i] *= usual / own;
    }
  }
}

function isEven(light: number): boolean {
  return light >= evenFrom && light <= evenTo;
}

/** The least energy over the stack of each tile of a brightness. */
function lowsOf({ frames, energy, light }: TileCurves, isOfBrightness: (light: number) => boolean): number[] {
  const lows: number[] = [];
  for (const [tile, own] of light.entries()) {
    if (!isOfBrightness(own)) continue;
    let low = Number.POSITIVE_INFINITY;
    for (let k = 0; k < frames; k++) {
      const at = (tile * frames + k) * directionCount;
      // NaN, where a frame does not reach, is not less.
      const value = (energy[at] + energy[at + 1]) / 2;
      if (value < low) low = value;
    }
    if (Number.isFinite(low)) lows.push(low);
  }
  return lows;
}

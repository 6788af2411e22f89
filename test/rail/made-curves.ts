import { createRandom } from '../../samples/random.js';
import type { TileCurves } from '../../src/rail/tile-curves.js';
import { besselJ1 } from '../bessel-j1.js';

/** Contrast of a disc-shaped blur: |2 J1(x) / x|^2 with x = pi * diameter * frequency (Goodman, Introduction to Fourier Optics, 3rd ed., section 6.4). */
function discEnergy(diameterPx: number, frequency: number): number {
  const x = Math.PI * diameterPx * frequency;
  return x < 1e-6 ? 1 : ((2 * besselJ1(x)) / x) ** 2;
}

export interface MadeStack {
  /** Place of each frame's plane of focus, steps. */
  frames: readonly number[];
  /** Place of each tile, steps. */
  tiles: readonly number[];
  /** Blur that a step away from focus brings, px. */
  blurPerStepPx?: number;
  /** Usual energy of a tile in focus; that of the noise is 3. */
  usualEnergy?: number;
  seed?: number;
  /** Factor of the energy of a frame, by index and direction. */
  loss?: (frame: number, direction: number) => number;
}

/** Natural pictures hold about the same energy in every octave (Field, JOSA A 4(12), 1987). Cycles per pixel. */
const octaves = range(12).map((i) => 0.45 / 2 ** (i / 2));
/** What a second difference over two pixels makes of an energy: (2 - 2 cos 4 pi f)^2. */
const answers = octaves.map((f) => (2 - 2 * Math.cos(4 * Math.PI * f)) ** 2);
const shares = answers.map((answer) => answer / answers.reduce((sum, value) => sum + value, 0));

/** Energies of tiles with natural textures under the blur of a lens, with noise: what frames would show. */
export function madeCurves({
  frames,
  tiles,
  blurPerStepPx = 1.6,
  usualEnergy = 40,
  seed = 1,
  loss = () => 1,
}: MadeStack): TileCurves {
  const random = createRandom(seed, 'made curves');
  const noise = 3;
  const energy = new Float32Array(tiles.length * frames.length * 4);
  tiles.forEach((position, tile) => {
    const strength = usualEnergy * Math.exp(random.normal());
    frames.forEach((at, k) => {
      const diameter = blurPerStepPx * Math.abs(position - at);
      const texture = octaves.reduce((sum, f, i) => sum + shares[i] * discEnergy(diameter, f), 0);
      for (let d = 0; d < 4; d++) {
        // Of some 250 pixels: their noise energy scatters by about a tenth.
        const grain = noise * (1 + 0.08 * random.normal());
        energy[(tile * frames.length + k) * 4 + d] = strength * texture * loss(k, d) + grain;
      }
    });
  });
  const light = new Float32Array(tiles.length).fill(120);
  return { columns: tiles.length, rows: 1, tilePx: 16, frames: frames.length, energy, light };
}

/** Whole numbers from 0. */
export function range(count: number): number[] {
  return Array.from({ length: count }, (_, k) => k);
}

/** Places spread evenly from `from` to `to`. */
export function spread(count: number, from: number, to: number): number[] {
  return range(count).map((i) => from + ((to - from) * (i + 0.5)) / count);
}

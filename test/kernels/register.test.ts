import { beforeEach, describe, expect, it } from 'vitest';
import { Arena } from '../../src/kernels/arena.js';
import { type DirectKernels, directKernels } from '../../src/kernels/direct-kernels.js';
import { slantFactor } from '../../src/model/constants/register.js';
import {
  fillBandPyramid,
  pyramidAt,
  takePyramid,
  takePyramidScratch,
  tileOrigin,
} from '../../src/register/band-pyramid.js';
import { crossCount, momentCount } from '../../src/register/match-tile.js';
import {
  fillLightTables,
  lightTableBytes,
  softenLuminance,
  writeLuminance,
} from '../../src/register/reduced-frame.js';
import { seededRandom } from '../register/textured-stack.js';

let arena: Arena;
let kernels: DirectKernels;
beforeEach(() => {
  arena = new Arena();
  kernels = directKernels(arena);
});

const sizes = [
  [131, 117],
  [240, 100],
  [48, 202],
] as const;

type Picture = (x: number, y: number) => number;

/** Random values under smooth waves, (height, width); columns beyond the ends are mirrored, rows repeat the last. */
function randomPicture(width: number, height: number, seed: number): { data: Float32Array; at: Picture } {
  const random = seededRandom(seed);
  const data = Float32Array.from(
    { length: width * height },
    (_, i) => 100 + 60 * Math.sin((i % width) / 3 + Math.floor(i / width) / 5) + 30 * random(),
  );
  return { data, at: reader(data, width, height) };
}

function reader(data: ArrayLike<number>, width: number, height: number): Picture {
  return (x, y) => {
    const column = x < 0 ? -x : x >= width ? 2 * width - 2 - x : x;
    return data[Math.min(height - 1, Math.max(0, y)) * width + column];
  };
}

/** The twin of a level: smooth and band by their formulas. */
function filtered(at: Picture, width: number, height: number): { smooth: Float64Array; band: Float64Array } {
  const three = [0.25, 0.5, 0.25];
  const smooth = Float64Array.from({ length: width * height }, (_, i) => {
    let sum = 0;
    for (let dy = -1; dy <= 1; dy++) {
      for (let dx = -1; dx <= 1; dx++) {
        sum += three[dx + 1] * three[dy + 1] * at((i % width) + dx, Math.floor(i / width) + dy);
      }
    }
    return sum;
  });
  const smoothAt = reader(smooth, width, height);
  const band = smooth.map((value, i) => {
    let sum = 0;
    for (let dy = -1; dy <= 1; dy++) {
      for (let dx = -1; dx <= 1; dx++) {
        sum += three[dx + 1] * three[dy + 1] * smoothAt((i % width) + 2 * dx, Math.floor(i / width) + 2 * dy);
      }
    }
    return value - sum;
  });
  return { smooth, band };
}

function worst(found: (i: number) => number, expected: ArrayLike<number>): number {
  let most = 0;
  for (let i = 0; i < expected.length; i++) most = Math.max(most, Math.abs(found(i) - expected[i]));
  return most;
}

describe('bandStrip', () => {
  it.each(sizes)('fills the pyramid of a %i x %i frame as the formulas say', (width, height) => {
    const scratch = takePyramidScratch(arena, width, height);
    const levels = pyramidAt(takePyramid(arena, width, height), arena.memory);
    const { data } = randomPicture(width, height, 3);
    const luma = scratch.luma[0];
    const plane = arena.planeF32(luma);
    for (let y = 0; y < height; y++) plane.set(data.subarray(y * width, (y + 1) * width), y * luma.stride);
    fillBandPyramid(levels, scratch, kernels);
    let from: ArrayLike<number> = data;
    for (const level of levels) {
      const { smooth, band } = filtered(reader(from, level.width, level.height), level.width, level.height);
      const bandAt = (i: number) =>
        level.band[Math.floor(i / level.width) * level.stride + (i % level.width)];
      expect(worst(bandAt, band)).toBeLessThan(1e-3);
      const { tile, tilesX, tileEnergy } = level;
      const energies = Float64Array.from({ length: tileEnergy.length }, (_, index) => {
        let sum = 0;
        for (let i = 0; i < tile * tile; i++) {
          const x = (index % tilesX) * tile + (i % tile);
          const y = Math.floor(index / tilesX) * tile + Math.floor(i / tile);
          sum += band[y * level.width + x] ** 2;
        }
        return sum / tile ** 2;
      });
      expect(Math.max(...energies)).toBeGreaterThan(1);
      expect(
        worst(
          (i) => tileEnergy[i] / (1 + energies[i]),
          energies.map((e) => e / (1 + e)),
        ),
      ).toBeLessThan(1e-4);
      const [w, h] = [level.width >> 1, level.height >> 1];
      const smoothAt = reader(smooth, level.width, level.height);
      from = Float64Array.from({ length: w * h }, (_, i) => {
        const [x, y] = [2 * (i % w), 2 * Math.floor(i / w)];
        return (smoothAt(x, y) + smoothAt(x + 1, y) + smoothAt(x, y + 1) + smoothAt(x + 1, y + 1)) / 4;
      });
    }
  });
});

/** The columns I, P, Q, Ix, Iy of the tile's model at a position, `x` and `y` from the tile's centre. */
function columns(at: Picture, px: number, py: number, x: number, y: number): number[] {
  const i = at(px, py);
  const gx = (at(px + 1, py) - at(px - 1, py)) / 2;
  const gy = (at(px, py + 1) - at(px, py - 1)) / 2;
  const laplacian = at(px + 1, py) + at(px - 1, py) + at(px, py + 1) + at(px, py - 1) - 4 * i;
  return [i, x * laplacian + slantFactor * gx, y * laplacian + slantFactor * gy, gx, gy];
}

/** Keys (1981), cubic convolution with a = -1/2. */
function keys(t: number): number {
  const d = Math.abs(t);
  if (d < 1) return 1.5 * d ** 3 - 2.5 * d ** 2 + 1;
  return d < 2 ? -0.5 * d ** 3 + 2.5 * d ** 2 - 4 * d + 2 : 0;
}

describe('tileMoments and tileCross', () => {
  it('sum the products that the model of a tile names', () => {
    const [width, height] = [96, 80];
    const scratch = takePyramidScratch(arena, width, height);
    const places = [takePyramid(arena, width, height), takePyramid(arena, width, height)];
    const [reference, moving] = places.map((place) => pyramidAt(place, arena.memory)[0]);
    for (const [level, seed] of [
      [reference, 5],
      [moving, 6],
    ] as const) {
      const { data } = randomPicture(width, height, seed);
      const luma = scratch.luma[0];
      const plane = arena.planeF32(luma);
      for (let y = 0; y < height; y++) plane.set(data.subarray(y * width, (y + 1) * width), y * luma.stride);
      fillBandPyramid([level], { ...scratch, luma: [luma] }, kernels);
    }
    const at: Picture = (x, y) => reference.band[y * reference.stride + x];
    const movingAt: Picture = (x, y) => moving.band[y * moving.stride + x];
    const out = arena.take(8 * crossCount);
    const rows = arena.take(4 * 16 * 19);
    const tilePlace = arena.take(24);
    for (const [index, dx, dy] of [
      [9, 0.3, -1.7],
      [14, -2.25, 0.5],
      [0, 6, 4],
    ]) {
      const { tile } = reference;
      const [x0, y0] = tileOrigin(reference, index);
      const moments = new Float64Array(momentCount - 1);
      const cross = new Float64Array(crossCount);
      let cubes = 0;
      let absoluteCubes = 0;
      for (let row = 0; row < tile; row++) {
        for (let column = 0; column < tile; column++) {
          const half = (tile - 1) / 2;
          const row5 = columns(at, x0 + column, y0 + row, column - half, row - half);
          for (let a = 0, m = 0; a < 5; a++) for (let b = a; b < 5; b++) moments[m++] += row5[a] * row5[b];
          const [x, y] = [x0 + column + dx, y0 + row + dy];
          let j = 0;
          for (let v = Math.floor(y) - 1; v <= Math.floor(y) + 2; v++) {
            for (let u = Math.floor(x) - 1; u <= Math.floor(x) + 2; u++) {
              j += keys(x - u) * keys(y - v) * movingAt(u, v);
            }
          }
          for (let a = 0; a < 5; a++) cross[a] += j * row5[a];
          cross[5] += j * j;
          cubes += row5[0] ** 3;
          absoluteCubes += Math.abs(row5[0]) ** 3;
        }
      }
      const first = index * momentCount;
      new Int32Array(arena.memory.buffer, tilePlace, 3).set([x0, y0, index]);
      kernels.momentTiles({
        ...{ band: reference.pointer, stride: reference.stride, size: tile, slant: slantFactor },
        ...{ places: tilePlace, count: 1, moments: reference.momentPointer },
      });
      const size = Math.max(...moments.map(Math.abs));
      expect(worst((i) => reference.tileMoments[first + i], moments) / size).toBeLessThan(1e-5);
      expect(reference.tileMoments[first + momentCount - 1]).toBeCloseTo(Math.abs(cubes) / absoluteCubes, 4);
      const { pointer, stride } = reference;
      new Float64Array(arena.memory.buffer, tilePlace, 3).set([x0 + dx, y0 + dy], 1);
      kernels.crossTiles({
        ...{ reference: pointer, moving: moving.pointer, stride, size: tile, slant: slantFactor },
        ...{ places: tilePlace, count: 1, scratch: rows, out },
      });
      const found = new Float64Array(arena.memory.buffer, out, crossCount);
      expect(worst((i) => found[i], cross) / Math.max(...cross.map(Math.abs))).toBeLessThan(1e-5);
    }
  });
});

describe('lightStrip and clampStrip', () => {
  it.each([
    [8, 3],
    [8, 1],
    [16, 3],
    [16, 1],
  ] as const)('turn %i-bit frames of %i channels into luminance without hot pixels', (bits, channels) => {
    const [width, height] = [51, 140];
    const full = 2 ** bits - 1;
    const random = seededRandom(7);
    const pixels = Array.from({ length: width * height * channels }, () =>
      Math.round(full * (0.3 + 0.02 * random())),
    );
    const hot = [10 * width + 20, 137 * width + 49];
    for (const pixel of hot) pixels.fill(full, pixel * channels, (pixel + 1) * channels);
    const source = arena.take(pixels.length * (bits / 8));
    (bits === 8 ? arena.u8(source, pixels.length) : arena.u16(source, pixels.length)).set(pixels);
    const tables = { pointer: arena.take(lightTableBytes({ bits, channels })), bits, channels };
    fillLightTables(arena, tables);
    const luma = arena.takePlanes(width, height, 1, 4);
    writeLuminance(source, tables, luma, kernels);
    // IEC 61966-2-1 and ITU-R BT.709.
    const decode = (v: number) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    const weights = channels === 1 ? [1] : [0.2126, 0.7152, 0.0722];
    const expected = (pixel: number) =>
      255 * weights.reduce((sum, w, c) => sum + w * decode(pixels[pixel * channels + c] / full), 0);
    const plane = arena.planeF32(luma);
    for (let pixel = 0; pixel < width * height; pixel++) {
      const found = plane[Math.floor(pixel / width) * luma.stride + (pixel % width)];
      if (!hot.includes(pixel)) expect(Math.abs(found - expected(pixel))).toBeLessThan(1e-3);
      else {
        const around = [-1, 0, 1].flatMap((dy) => [-1, 0, 1].map((dx) => pixel + dy * width + dx));
        const highest = Math.max(...around.filter((p) => p !== pixel).map(expected));
        expect(Math.abs(found - highest)).toBeLessThan(1e-3);
      }
    }
  });
});

describe('softenStrip', () => {
  it('keeps what is even or rises evenly, halves the period of four pixels, and takes that of two', () => {
    // Response of [1 2 1]/4: (1 + cos w) / 2 at w radians a pixel.
    const [width, height] = [75, 140];
    const planes = [0, 1].map(() => arena.takePlanes(width, height, 1, 4));
    const [from, to] = planes.map((plane) => arena.planeF32(plane));
    const rows = arena.takePlanes(width, 1, 1, 4).pointer;
    const at = (x: number, y: number) => y * planes[0].stride + x;
    const waves = (x: number, y: number) => [Math.cos((Math.PI / 2) * x), Math.cos(Math.PI * y)];
    for (let y = 0; y < height; y++) {
      for (let x = 0; x < width; x++) {
        const [broad, fine] = waves(x, y);
        from[at(x, y)] = 100 + 0.25 * x - 0.125 * y + 8 * broad + 16 * fine;
      }
    }
    softenLuminance(planes[0], planes[1], rows, kernels);
    let worst = 0;
    for (let y = 1; y < height - 1; y++) {
      for (let x = 1; x < width - 1; x++) {
        const expected = 100 + 0.25 * x - 0.125 * y + 4 * waves(x, y)[0];
        worst = Math.max(worst, Math.abs(to[at(x, y)] - expected));
      }
    }
    expect(worst).toBeLessThan(1e-4);
  });
});

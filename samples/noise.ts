import { mixBits } from './random.js';
import { decodeLight } from './sensor.js';

/** Pseudo-random number in [0, 1) of an integer place. */
export function hashUnit(x: number, y: number, seed: number): number {
  return (
    mixBits(mixBits(mixBits(seed + 0x51ed27) ^ Math.imul(x, 0x27d4eb2f)) ^ Math.imul(y, 0x165667b1)) /
    4294967296
  );
}

/**
 * Smooth noise of feature size 1: random values at integers, joined by a quintic (zero first and second derivative at
 * the integers). Range [-1, 1].
 */
export function smoothNoise(x: number, y: number, seed: number): number {
  const left = Math.floor(x);
  const top = Math.floor(y);
  const u = x - left;
  const v = y - top;
  const s = u * u * u * (u * (6 * u - 15) + 10);
  const t = v * v * v * (v * (6 * v - 15) + 10);
  const a = hashUnit(left, top, seed);
  const b = hashUnit(left + 1, top, seed);
  const c = hashUnit(left, top + 1, seed);
  const d = hashUnit(left + 1, top + 1, seed);
  return 2 * (a + (b - a) * s + (c - a) * t + (a - b - c + d) * s * t) - 1;
}

/**
 * Sum of `octaves` noises, each half the size and `fall` times the strength of the one before, about [-1, 1].
 * Octaves are turned against each other so that their grids do not show.
 */
export function layeredNoise(x: number, y: number, octaves: number, fall: number, seed: number): number {
  let sum = 0;
  let total = 0;
  let strength = 1;
  let u = x;
  let v = y;
  for (let i = 0; i < octaves; i++) {
    sum += strength * smoothNoise(u, v, seed + i * 101);
    total += strength;
    strength *= fall;
    [u, v] = [1.6 * u + 1.2 * v + 17.3, -1.2 * u + 1.6 * v - 9.1];
  }
  return sum / total;
}

/** Rises smoothly from 0 at `low` to 1 at `high`. */
export function smoothStep(low: number, high: number, value: number): number {
  const t = Math.min(1, Math.max(0, (value - low) / (high - low)));
  return t * t * (3 - 2 * t);
}

/** Linear red, green and blue in [0, 1]. */
export type Colour = readonly [number, number, number];

/** Linear colour of three sRGB bytes. */
export function fromBytes(red: number, green: number, blue: number): Colour {
  return [decodeLight(red / 255), decodeLight(green / 255), decodeLight(blue / 255)];
}

/** Linear interpolation between two colours. */
export function mixColour(first: Colour, second: Colour, part: number): [number, number, number] {
  return [
    first[0] + (second[0] - first[0]) * part,
    first[1] + (second[1] - first[1]) * part,
    first[2] + (second[2] - first[2]) * part,
  ];
}

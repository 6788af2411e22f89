import { createRandom } from './random.js';

/** What the sensor adds to the light that falls on it. Zero switches each off. */
export interface SensorOptions {
  bits: 8 | 16;
  /** Standard deviation of the noise at mid grey, in 255ths of the encoded range. */
  noise: number;
  /** Number of dust specks: soft dark spots that stay where they are on the sensor. */
  dust: number;
  /** Number of hot pixels: single bright samples that stay where they are. */
  hotPixels: number;
}

/** The faults of one sensor, the same in every frame. */
export interface Sensor {
  options: SensorOptions;
  seed: number;
  /** Light that passes the dust at each pixel, 0 to 1; undefined without dust. */
  passing: Float32Array | undefined;
  hot: { sample: number; light: number }[];
}

/** sRGB encoding of linear light 0 to 1 (IEC 61966-2-1). */
export function encodeLight(light: number): number {
  return light <= 0.0031308 ? 12.92 * light : 1.055 * light ** (1 / 2.4) - 0.055;
}

/** Linear light of an sRGB value 0 to 1 (IEC 61966-2-1). */
export function decodeLight(value: number): number {
  return value <= 0.04045 ? value / 12.92 : ((value + 0.055) / 1.055) ** 2.4;
}

const tableSize = 4096;

/** Encoded values over the square root of light, where the curve bends so little that straight pieces suffice. */
const encodeTable = Float64Array.from({ length: tableSize + 2 }, (_, i) => encodeLight((i / tableSize) ** 2));

/** As `encodeLight`, from the table, with the ends cut off: error below 1e-5. */
function encodeFast(light: number): number {
  if (light <= 0) return 0;
  if (light >= 1) return 1;
  const at = Math.sqrt(light) * tableSize;
  const index = Math.floor(at);
  return encodeTable[index] + (at - index) * (encodeTable[index + 1] - encodeTable[index]);
}

/** Encodes linear light, any shape, to full-range unsigned integers, rounded. */
export function encodePicture(linear: Float32Array, bits: 8 | 16): Uint8Array | Uint16Array {
  const top = 2 ** bits - 1;
  const out = bits === 8 ? new Uint8Array(linear.length) : new Uint16Array(linear.length);
  for (let i = 0; i < linear.length; i++) out[i] = encodeFast(linear[i]) * top + 0.5;
  return out;
}

export function createSensor(width: number, height: number, options: SensorOptions, seed: number): Sensor {
  const random = createRandom(seed, 'sensor');
  const passing = options.dust > 0 ? new Float32Array(width * height).fill(1) : undefined;
  for (let i = 0; i < options.dust && passing !== undefined; i++) {
    const x = random.between(0, width);
    const y = random.between(0, height);
    const radius = random.between(3, 9);
    const strength = random.between(0.06, 0.2);
    addSpeck(passing, width, height, { x, y, radius, strength });
  }
  const hot = Array.from({ length: options.hotPixels }, () => ({
    sample: Math.floor(random.unit() * width * height * 3),
    light: random.between(0.3, 1),
  }));
  return { options, seed, passing, hot };
}

function addSpeck(
  passing: Float32Array,
  width: number,
  height: number,
  { x, y, radius, strength }: { x: number; y: number; radius: number; strength: number },
): void {
  const soft = 2;
  for (
    let row = Math.max(0, Math.floor(y - radius - soft));
    row <= y + radius + soft && row < height;
    row++
  ) {
    for (let column = Math.max(0, Math.floor(x - radius - soft)); column <= x + radius + soft; column++) {
      if (column >= width) break;
      const inside = (radius + soft - Math.hypot(column - x, row - y)) / (2 * soft);
      passing[row * width + column] *= 1 - strength * Math.min(1, Math.max(0, inside));
    }
  }
}

/** Light at which `noise` is meant: mid grey, encoded 124 of 255. */
const midGrey = 0.2;
/** Share of the variance at mid grey that does not grow with light (reading out). */
const readShare = 0.1;

/** Normal deviates to draw from: one lookup by 16 random bits instead of a logarithm and a cosine a sample. */
function normalTable(seed: number): Float32Array {
  const random = createRandom(seed, 'normal deviates');
  const table = new Float32Array(65536);
  // Pairs of opposite sign keep the mean at zero exactly.
  for (let i = 0; i < table.length; i += 2) {
    table[i] = random.normal();
    table[i + 1] = -table[i];
  }
  return table;
}

const tables = new Map<number, Float32Array>();

/**
 * Adds dust, shot noise (variance proportional to light), read noise and hot pixels to a frame's linear light,
 * shape (height, width, 3), in place. The noise of a frame depends on its number alone.
 */
export function exposeSensor(linear: Float32Array, sensor: Sensor, frameNumber: number): void {
  const { options, passing, hot, seed } = sensor;
  if (passing !== undefined) {
    for (let i = 0; i < linear.length; i++) linear[i] *= passing[Math.floor(i / 3)];
  }
  if (options.noise > 0) {
    let table = tables.get(seed);
    if (table === undefined) {
      table = normalTable(seed);
      tables.set(seed, table);
    }
    const slope = (encodeLight(midGrey + 1e-3) - encodeLight(midGrey - 1e-3)) / 2e-3;
    const variance = (options.noise / 255 / slope) ** 2;
    const read = readShare * variance;
    const shot = ((1 - readShare) * variance) / midGrey;
    const random = createRandom(seed, `noise ${frameNumber}`);
    for (let i = 0; i < linear.length; i++) {
      linear[i] += Math.sqrt(read + shot * Math.max(0, linear[i])) * table[random.bits() & 0xffff];
    }
  }
  for (const { sample, light } of hot) linear[sample] = Math.max(linear[sample], light);
}

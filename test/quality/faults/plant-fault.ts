import { copyFile, mkdir } from 'node:fs/promises';
import { join } from 'node:path';
import { createRandom } from '../../../samples/random.js';
import { commonDefaults } from '../../../samples/render-scene.js';
import { createSensor, encodePicture, exposeSensor, type Sensor } from '../../../samples/sensor.js';
import { smearPicture } from '../../../samples/smear.js';
import type { Size } from '../../../src/image/image.js';
import type { PlainStack } from './plain-stack.js';
import { type FaultName, type FaultPlan, type FaultyShot, planFault } from './plan-fault.js';
import { writePhotograph } from './write-photograph.js';

/** What was planted where. */
export interface Planted {
  fault: FaultName;
  /** Numbers of the frames that are at fault, from 1, in the order as written. */
  frames: number[];
  /** Middles of the dust specks and hot pixels, px. */
  specks: { x: number; y: number }[];
  hotPixels: { x: number; y: number }[];
}

/** Writes the plain stack as photographs with one fault; everything is drawn from the seed. */
export async function plantFault(
  plain: PlainStack,
  fault: FaultName,
  seed: number,
  folder: string,
): Promise<Planted> {
  const { width, height } = plain.size;
  const plan = planFault(fault, createRandom(seed, `fault ${fault}`), plain.size);
  const { dust, hotPixels, roomPx, shots, frames } = plan;
  const sensor = createSensor(width, height, { bits: 8, noise: commonDefaults.noise, dust, hotPixels }, seed);
  const cut = await cutOffs(plain, plan);
  const size = { width: width - 2 * roomPx, height: height - 2 * roomPx };
  const pathOf = (number: number) => join(folder, `${String(number).padStart(4, '0')}.jpg`);
  await mkdir(folder, { recursive: true });
  for (const [k, shot] of shots.entries()) {
    if (shot.isCopy) {
      await copyFile(pathOf(k), pathOf(k + 1));
      continue;
    }
    const linear = lit(await plain.readFrame(shot.of), plain.size, shot, cut.gain);
    exposeSensor(linear, sensor, k + 1);
    // After the noise: what a curve cuts off in developing is black without a trace of it.
    if (cut.black > 0) for (let i = 0; i < linear.length; i++) linear[i] -= cut.black;
    const pixels = encodePicture(linear, 8) as Uint8Array;
    await writePhotograph(folder, k + 1, cropped(pixels, plain.size, shot, roomPx), size, shot.told, shot.as);
  }
  const hot = sensor.hot.map(({ sample }) => {
    const pixel = Math.floor(sample / 3);
    return { x: pixel % width, y: Math.floor(pixel / width) };
  });
  return { fault, frames, specks: specksOf(sensor, plain.size), hotPixels: hot };
}

/** Light of a plain frame with what the shot does to it. */
function lit(
  plain: Float32Array,
  { width, height }: Size,
  { smearPx, smearRad, light }: FaultyShot,
  gain: number,
): Float32Array {
  const linear =
    smearPx > 0
      ? smearPicture(plain, width, height, smearPx * Math.cos(smearRad), smearPx * Math.sin(smearRad))
      : plain;
  for (let i = 0; i < linear.length; i++) linear[i] *= gain * light[i % 3];
  return linear;
}

/** The gain that burns, and the light that is cut off to block, the planned shares of the middle frame. */
async function cutOffs(
  plain: PlainStack,
  { burntShare, blockedShare, shots }: FaultPlan,
): Promise<{ gain: number; black: number }> {
  if (burntShare === 0 && blockedShare === 0) return { gain: 1, black: 0 };
  const { width, height } = plain.size;
  const linear = await plain.readFrame(shots[shots.length >> 1].of);
  const most = Float32Array.from({ length: width * height }, (_, i) =>
    Math.max(linear[3 * i], linear[3 * i + 1], linear[3 * i + 2]),
  ).sort();
  const at = (share: number) => most[Math.floor(share * (most.length - 1))];
  return {
    gain: burntShare > 0 ? 1 / at(1 - burntShare) : 1,
    black: blockedShare > 0 ? at(blockedShare) : 0,
  };
}

function cropped(
  pixels: Uint8Array,
  { width, height }: Size,
  { shiftXPx, shiftYPx }: FaultyShot,
  roomPx: number,
): Uint8Array {
  if (roomPx === 0) return pixels;
  const rows = height - 2 * roomPx;
  const rowBytes = (width - 2 * roomPx) * 3;
  const out = new Uint8Array(rows * rowBytes);
  for (let y = 0; y < rows; y++) {
    const from = ((y + roomPx - shiftYPx) * width + roomPx - shiftXPx) * 3;
    out.set(pixels.subarray(from, from + rowBytes), y * rowBytes);
  }
  return out;
}

/** Middles of the darkest places of the dust, from the map of what it lets pass: specks are flat inside. */
function specksOf({ passing }: Sensor, { width, height }: Size): { x: number; y: number }[] {
  if (!passing) return [];
  const specks: { x: number; y: number }[] = [];
  const seen = new Uint8Array(width * height);
  for (let start = 0; start < passing.length; start++) {
    const here = passing[start];
    if (seen[start] || here > 0.97) continue;
    const flat = [start];
    seen[start] = 1;
    let least = true;
    let [sumX, sumY] = [0, 0];
    // A list is walked through to what is added on the way.
    for (const i of flat) {
      const x = i % width;
      const y = (i - x) / width;
      sumX += x;
      sumY += y;
      for (let v = Math.max(0, y - 1); v <= Math.min(height - 1, y + 1); v++) {
        for (let u = Math.max(0, x - 1); u <= Math.min(width - 1, x + 1); u++) {
          const next = v * width + u;
          if (passing[next] < here) least = false;
          if (passing[next] !== here || seen[next]) continue;
          seen[next] = 1;
          flat.push(next);
        }
      }
    }
    if (least) specks.push({ x: sumX / flat.length, y: sumY / flat.length });
  }
  return specks;
}

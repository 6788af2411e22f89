import { mkdir } from 'node:fs/promises';
import { createRandom, type Random } from '../../../samples/random.js';
import { commonDefaults } from '../../../samples/render-scene.js';
import { createSensor, encodePicture, exposeSensor, type Sensor } from '../../../samples/sensor.js';
import { smearPicture } from '../../../samples/smear.js';
import { writeFrame } from '../../../samples/write-frame.js';
import { type PlainStack, plainSize } from './plain-stack.js';

/** Faults that are planted, in the order of the table; 'none' is a clean stack. */
export const faultNames = [
  'none',
  'missed step',
  'step not taken',
  'shaken frame',
  'flicker',
  'too-coarse steps',
  'dust',
  'reversed turn',
  'reversed order',
  'short in front',
  'short behind',
] as const;
export type FaultName = (typeof faultNames)[number];

/** What was planted where. */
export interface Planted {
  fault: FaultName;
  /** Numbers of the frames that are at fault, from 1, in the order as written. */
  frames: number[];
  /** Middles of the dust specks, px. */
  specks: { x: number; y: number }[];
}

interface FaultyShot {
  /** Index of the plain frame. */
  of: number;
  smearPx: number;
  gain: number;
}

/** Writes the plain stack as photographs with one fault; everything is drawn from the seed. */
export async function plantFault(
  plain: PlainStack,
  fault: FaultName,
  seed: number,
  folder: string,
): Promise<Planted> {
  const random = createRandom(seed, `fault ${fault}`);
  const { shots, frames } = planFault(fault, random);
  const { width, height } = plainSize;
  const options = {
    bits: 8,
    noise: commonDefaults.noise,
    dust: fault === 'dust' ? 6 : 0,
    hotPixels: 0,
  } as const;
  const sensor = createSensor(width, height, options, seed);
  await mkdir(folder, { recursive: true });
  for (const [k, shot] of shots.entries()) {
    let linear = await plain.readFrame(shot.of);
    if (shot.smearPx > 0) {
      const angle = random.between(0, Math.PI);
      linear = smearPicture(
        linear,
        width,
        height,
        shot.smearPx * Math.cos(angle),
        shot.smearPx * Math.sin(angle),
      );
    }
    for (let i = 0; i < linear.length; i++) linear[i] *= shot.gain;
    exposeSensor(linear, sensor, k + 1);
    await writeFrame(folder, k + 1, encodePicture(linear, 8), {
      ...commonDefaults,
      width,
      height,
    });
  }
  return { fault, frames, specks: specksOf(sensor) };
}

function planFault(fault: FaultName, random: Random): { shots: FaultyShot[]; frames: number[] } {
  const whole = (low: number, high: number) => low + Math.floor(random.unit() * (high - low + 1));
  const count = plainSize.frames;
  let order = Array.from({ length: count }, (_, k) => k);
  let frames: number[] = [];
  switch (fault) {
    case 'missed step': {
      const left = whole(5, count - 6);
      order = order.filter((k) => k !== left);
      frames = [left, left + 1];
      break;
    }
    case 'step not taken': {
      const again = whole(3, count - 4);
      order.splice(again, 0, again);
      frames = [again + 1, again + 2];
      break;
    }
    case 'shaken frame':
      frames = [whole(1, count)];
      break;
    case 'too-coarse steps':
      order = order.filter((k) => k % 3 === 1);
      break;
    case 'reversed turn': {
      const from = whole(3, count - 9);
      const length = whole(3, 6);
      order = [
        ...order.slice(0, from),
        ...order.slice(from, from + length).reverse(),
        ...order.slice(from + length),
      ];
      frames = Array.from({ length }, (_, i) => from + i + 1);
      break;
    }
    case 'reversed order':
      order.reverse();
      break;
    case 'short in front':
      order = order.slice(whole(6, 9));
      frames = [1];
      break;
    case 'short behind':
      order = order.slice(0, count - whole(6, 9));
      frames = [order.length];
      break;
    default:
  }
  const flicker = fault === 'flicker' ? whole(1, 3) : 0;
  const flickering = new Set(Array.from({ length: flicker }, () => whole(2, order.length - 1)));
  if (fault === 'flicker') frames = [...flickering].sort((a, b) => a - b);
  const shots = order.map((of, k): FaultyShot => {
    const side = random.unit() < 0.5 ? -1 : 1;
    return {
      of,
      smearPx: fault === 'shaken frame' && frames[0] === k + 1 ? random.between(5, 10) : 0,
      gain:
        (1 + random.between(-0.02, 0.02)) *
        (flickering.has(k + 1) ? 1 + side * random.between(0.12, 0.3) : 1),
    };
  });
  return { shots, frames };
}

/** Darkest places of the dust, from the map of what it lets pass. */
function specksOf({ passing }: Sensor): { x: number; y: number }[] {
  if (!passing) return [];
  const { width, height } = plainSize;
  const specks: { x: number; y: number }[] = [];
  for (let y = 1; y < height - 1; y++) {
    for (let x = 1; x < width - 1; x++) {
      const here = passing[y * width + x];
      if (here > 0.97) continue;
      let least = true;
      for (let dy = -1; dy <= 1; dy++) {
        for (let dx = -1; dx <= 1; dx++) {
          const other = passing[(y + dy) * width + x + dx];
          if (other < here || (other === here && (dy < 0 || (dy === 0 && dx < 0)))) least = false;
        }
      }
      if (least) specks.push({ x, y });
    }
  }
  return specks;
}

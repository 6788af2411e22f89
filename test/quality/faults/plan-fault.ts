import type { Random } from '../../../samples/random.js';
import type { Size } from '../../../src/image/image.js';
import type { StackSize } from './plain-stack.js';
import { intervalMs, type Told, usuallyTold } from './write-photograph.js';

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
  'bump',
  'burnt highlights',
  'blocked shadows',
  'hot pixels',
  'duplicate',
  'time gap',
  'mixed sizes',
  'exposure in EXIF',
  'aperture in EXIF',
  'white balance',
  'camera in EXIF',
  'lens in EXIF',
] as const;
export type FaultName = (typeof faultNames)[number];

/** One photograph of a stack with a fault. */
export interface FaultyShot {
  /** Index of the plain frame. */
  of: number;
  /** Length and direction of a shake, px and rad. */
  smearPx: number;
  smearRad: number;
  /** Factors of red, green and blue light. */
  light: [number, number, number];
  /** Where the picture lies in the frame, whole px, for stacks with room around (`FaultPlan.roomPx`). */
  shiftXPx: number;
  shiftYPx: number;
  told: Told;
  /** Size it is exported at, where that is not the size of the stack. */
  as?: Size;
  /** The file is a copy of the one before. */
  isCopy: boolean;
}

/** What is planted, and where. */
export interface FaultPlan {
  shots: FaultyShot[];
  /** Numbers of the frames that are at fault, from 1, in the order as written. */
  frames: number[];
  /** Pixels cut off all around, so that pictures can be shifted. */
  roomPx: number;
  dust: number;
  hotPixels: number;
  /** Share of the picture that is burnt in the middle frame, and that is cut off to black. */
  burntShare: number;
  blockedShare: number;
}

const roomPx = 28;

/** Draws a fault. */
export function planFault(fault: FaultName, random: Random, size: StackSize): FaultPlan {
  const whole = (low: number, high: number) => low + Math.floor(random.unit() * (high - low + 1));
  const { order, frames } = planOrder(fault, whole, size.frames);
  const count = order.length;
  const shots = order.map((of, k): FaultyShot => {
    const light = 1 + random.between(-0.02, 0.02);
    return {
      of,
      smearPx: 0,
      smearRad: random.between(0, Math.PI),
      light: [light, light, light],
      shiftXPx: 0,
      shiftYPx: 0,
      told: { ...usuallyTold, afterMs: k * intervalMs },
      isCopy: false,
    };
  });
  const plan = { shots, frames, roomPx: 0, dust: 0, hotPixels: 0, burntShare: 0, blockedShare: 0 };
  /** Some frames in a row, less than half of the stack, with something to be done to each. */
  const some = (most: number, change: (shot: FaultyShot) => void) => {
    const length = whole(1, most);
    const from = whole(1, count - length);
    shots.slice(from, from + length).forEach(change);
    plan.frames = Array.from({ length }, (_, i) => from + i + 1);
  };
  switch (fault) {
    case 'shaken frame':
      shots[frames[0] - 1].smearPx = random.between(5, 10);
      break;
    case 'flicker': {
      const odd = new Set(Array.from({ length: whole(1, 3) }, () => whole(2, count - 1)));
      for (const number of odd) {
        const factor = 1 + (random.unit() < 0.5 ? -1 : 1) * random.between(0.12, 0.3);
        shots[number - 1].light = scaled(shots[number - 1].light, [factor, factor, factor]);
      }
      plan.frames = [...odd].sort((a, b) => a - b);
      break;
    }
    case 'bump': {
      const from = whole(2, count - 2);
      const angle = random.between(0, 2 * Math.PI);
      const jumpPx = random.between(14, roomPx);
      for (const shot of shots.slice(from)) {
        shot.shiftXPx = Math.round(jumpPx * Math.cos(angle));
        shot.shiftYPx = Math.round(jumpPx * Math.sin(angle));
      }
      plan.roomPx = roomPx;
      plan.frames = [from, from + 1];
      break;
    }
    case 'dust':
      plan.dust = 6;
      break;
    case 'hot pixels':
      plan.hotPixels = 8;
      break;
    case 'burnt highlights':
      plan.burntShare = random.between(0.02, 0.08);
      break;
    case 'blocked shadows':
      plan.blockedShare = random.between(0.02, 0.08);
      // What is cut off would make the flicker more than it is meant to be.
      for (const shot of shots) shot.light = [1, 1, 1];
      break;
    case 'duplicate':
      for (const number of frames) shots[number - 1].isCopy = true;
      break;
    case 'time gap': {
      const from = whole(2, count - 2);
      const pauseMs = random.between(5_000, 120_000);
      for (const shot of shots.slice(from)) shot.told.afterMs += Math.round(pauseMs);
      plan.frames = [from, from + 1];
      break;
    }
    case 'mixed sizes': {
      const { width, height } = size;
      const odd =
        random.unit() < 0.5
          ? { width: height, height: width }
          : { width: Math.round(width * 0.9375), height: Math.round(height * 0.9375) };
      some(3, (shot) => {
        shot.as = odd;
      });
      break;
    }
    case 'exposure in EXIF':
      some(8, (shot) => {
        shot.told.exposure = '1/80';
        shot.light = scaled(shot.light, [0.75, 0.75, 0.75]);
      });
      break;
    case 'aperture in EXIF':
      some(8, (shot) => {
        shot.told.fNumber = 8;
      });
      break;
    case 'white balance':
      some(8, (shot) => {
        shot.told.whiteBalance = 'auto';
        shot.light = scaled(shot.light, [1.12, 1, 0.9]);
      });
      break;
    case 'camera in EXIF':
      some(8, (shot) => {
        shot.told.model = 'Other bench';
      });
      break;
    case 'lens in EXIF':
      some(8, (shot) => {
        shot.told.lens = 'Thin lens 60 mm';
        shot.told.focalLengthMm = 60;
      });
      break;
    default:
  }
  return plan;
}

function scaled(light: FaultyShot['light'], by: FaultyShot['light']): FaultyShot['light'] {
  return [light[0] * by[0], light[1] * by[1], light[2] * by[2]];
}

/** Which plain frames are written, in which order, and where that is at fault. */
function planOrder(fault: FaultName, whole: (low: number, high: number) => number, count: number) {
  const all = Array.from({ length: count }, (_, k) => k);
  switch (fault) {
    case 'missed step': {
      const left = whole(5, count - 6);
      return { order: all.filter((k) => k !== left), frames: [left, left + 1] };
    }
    case 'step not taken': {
      const again = whole(3, count - 4);
      return { order: all.toSpliced(again, 0, again), frames: [again + 1, again + 2] };
    }
    case 'duplicate': {
      const again = whole(0, count - 1);
      return { order: all.toSpliced(again, 0, again), frames: [again + 2] };
    }
    case 'shaken frame':
      return { order: all, frames: [whole(1, count)] };
    case 'too-coarse steps':
      return { order: all.filter((k) => k % 3 === 1), frames: [] };
    case 'reversed turn': {
      const from = whole(3, count - 9);
      const length = whole(3, 6);
      const order = [
        ...all.slice(0, from),
        ...all.slice(from, from + length).reverse(),
        ...all.slice(from + length),
      ];
      return { order, frames: Array.from({ length }, (_, i) => from + i + 1) };
    }
    case 'reversed order':
      return { order: all.reverse(), frames: [] };
    case 'short in front':
      return { order: all.slice(whole(6, 9)), frames: [1] };
    case 'short behind': {
      const order = all.slice(0, count - whole(6, 9));
      return { order, frames: [order.length] };
    }
    default:
      return { order: all, frames: [] };
  }
}

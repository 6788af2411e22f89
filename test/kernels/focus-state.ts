import { statePlane } from '../../src/focus/focus-curves.js';
import type { Planes } from '../../src/kernels/arena.js';
import { type KernelRig, type Plane, pictureOf, randomFrom } from './kernel-rig.js';

/** Ordinals in random states go up to this. */
export const frames = 14;

export type PlaneName = keyof typeof statePlane;
export const names = Object.keys(statePlane) as PlaneName[];
/** One level of the state: a picture a plane. */
export type State = Record<PlaneName, Plane>;

/** Stored depth indices are (frames + 4) x 64, six fraction bits; weights 1/frame^2 x 64. */
export const fractionBits = 6;
export const storedIndex = (depthIndex: number) => Math.round((depthIndex + 4) * 64);
export const depthIndexAt = (stored: number) => stored / 64 - 4;

/** A random state as frames leave it: no peak, missing neighbours, flat tops and second peaks among them. */
export function randomState([w, h]: readonly [number, number], seed: number): State {
  const random = randomFrom(seed + 31 * w);
  const whole = (least: number, most: number) => least + Math.floor(random() * (most - least + 1));
  const state = Object.fromEntries(names.map((name) => [name, pictureOf(w, h, () => 0)])) as State;
  for (let i = 0; i < w * h; i++) {
    const set = (name: PlaneName, value: number) => {
      state[name].data[i] = value;
    };
    set('tones', whole(0, 255) + 256 * whole(0, 255));
    set('coarseTones', whole(0, 255) + 256 * whole(0, 255));
    if (random() < 0.1) continue;
    const best = whole(4000, 9000);
    const ordinal = whole(1, frames);
    set('best', best);
    set('bestOrdinal', ordinal);
    // A steep flank now and then: steps that are too coarse.
    const fall = () => (random() < 0.1 ? 0 : random() < 0.2 ? whole(1000, 3900) : whole(0, 900));
    if (ordinal > 1 && random() > 0.05) set('before', best - fall());
    if (ordinal < frames && random() > 0.05) set('after', best - fall());
    // Marks of truncated curves take the place of the latest frame's code.
    const drawn = whole(3000, best);
    set('latest', drawn % 5 === 0 ? 1 + ((drawn / 5) % 3) : 0);
    set('valley', whole(3000, best));
    const rival = whole(1, frames);
    if (random() < 0.5 && Math.abs(rival - ordinal) > 2) {
      set('second', whole(3500, best));
      set('secondOrdinal', rival);
    }
  }
  return state;
}

/** The sixteen elements before and behind each row of a plane. */
function rowEnds(
  rig: KernelRig,
  { pointer, planeBytes, stride, width: w, height: h }: Planes,
  plane: number,
): Uint16Array[] {
  return Array.from({ length: h }, (_, y) => pointer + plane * planeBytes + y * stride * 2).flatMap((row) => [
    rig.arena.u16(row - 32, 16),
    rig.arena.u16(row + w * 2, 16),
  ]);
}

export function soilEnds(rig: KernelRig, planes: Planes, plane: number): void {
  for (const end of rowEnds(rig, planes, plane)) end.fill(999);
}

export function endsOf(rig: KernelRig, planes: Planes, plane: number): Set<number> {
  return new Set(rowEnds(rig, planes, plane).flatMap((end) => Array.from(end)));
}

/** The table of levels that kernels of the surface take, in the arena. */
export function levelTable(rig: KernelRig, levels: readonly Planes[]): number {
  const table = rig.arena.take(levels.length * 12);
  rig.arena
    .u32(table, levels.length * 3)
    .set(levels.flatMap((planes) => [planes.pointer, planes.planeBytes, planes.stride]));
  return table;
}

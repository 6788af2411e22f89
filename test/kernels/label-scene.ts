import type { Planes } from '../../src/kernels/arena.js';
import {
  endsOf,
  fractionBits,
  levelTable,
  names,
  randomState,
  type State,
  soilEnds,
  storedIndex,
} from './focus-state.js';
import { at, type KernelRig, type Plane, pictureOf, randomFrom } from './kernel-rig.js';

/** Levels of peaks as `peakStrip` leaves them, finest first: see assembly/curve-state.ts for what the planes hold then. */
export interface Scene {
  states: State[];
  width: number;
  height: number;
  /** Frames that count as one step. */
  unit: number;
}

/** Of the scenes: depth indices lie from before the first to beyond the last. */
export const lastFrame = 12;

/** One of the up to three peaks of a pixel: its byte in the supports, its stored depth index, and its tone, 0 to 255. */
export interface Candidate {
  n: number;
  depthIndex: number;
  tone: number;
}

/** The candidates of a pixel of level 0: the two peaks of level 0, and the best of level 1 where it is followed. */
export function candidatesOf({ states }: Scene, x: number, y: number): Candidate[] {
  const [{ before, secondOrdinal, tones, coarseTones }, coarse] = states;
  const fine = at(tones, x, y);
  const found = [
    { n: 0, depthIndex: at(before, x, y), tone: fine & 255 },
    { n: 1, depthIndex: at(secondOrdinal, x, y), tone: fine >> 8 },
  ];
  if (coarse)
    found.push({ n: 2, depthIndex: at(coarse.before, x >> 1, y >> 1), tone: at(coarseTones, x, y) & 255 });
  return found;
}

/** Supports of a pixel, by candidate: seven bits in each of the low three bytes of a u32. */
export const supportsAt = (supports: Plane, x: number, y: number): number[] =>
  [0, 8, 16].map((shift) => (at(supports, x, y) >>> shift) & 127);

/** Bit 31: see assembly/candidates.ts. */
export const isContested = (supports: Plane, x: number, y: number) => at(supports, x, y) >= 2 ** 31;

/** Two sloping surfaces, a bright one before a dark one, with the peaks of both, gaps, truncated curves and noise. */
export function randomScene(width: number, height: number, count: number, seed: number, unit = 1): Scene {
  const random = randomFrom(seed + 57 * width);
  const isFront = (x: number, y: number) => (x + 2 * y) % 26 < 9 || (x > 12 && x < 15);
  const placeOf = (front: boolean, x: number) =>
    storedIndex(front ? 3 + x / 30 + random() * 0.8 : 8.5 + x / 25 + random() * 0.8);
  const anywhere = () => storedIndex(-2 + random() * (lastFrame + 4));
  const states: State[] = [];
  for (let level = 0, w = width, h = height; level < count; level++, w = (w + 1) >> 1, h = (h + 1) >> 1) {
    const front = (x: number, y: number) => isFront(x << level, y << level) === random() < 0.9;
    const fronts = pictureOf(w, h, (x, y) => Number(front(x, y)));
    const depthIndex = (x: number, y: number, own: boolean) =>
      random() < 0.1 ? anywhere() : placeOf(at(fronts, x, y) > 0 === own, x << level);
    // A side where neither of the finest levels shows anything, and holes elsewhere.
    const blank = (x: number) => level < 2 && (x << level > width / 2 || random() < 0.1);
    const leak = () => (level > 0 && random() < 0.25 ? 0x4000 : 0);
    const weight = () =>
      leak() + (random() < 0.1 ? 0x8000 : 1 + Math.floor(random() * 6400) + (random() < 0.2 ? 0x8000 : 0));
    const best = pictureOf(w, h, (x) =>
      blank(x) ? Math.floor(random() * 600) : Math.floor(random() * 4500),
    );
    const second = pictureOf(w, h, (x) =>
      blank(x) || random() < 0.4 ? 0 : 512 + Math.floor(random() * 3000),
    );
    states.push({
      ...randomState([w, h], seed),
      best,
      before: pictureOf(w, h, (x, y) => depthIndex(x, y, true)),
      after: pictureOf(w, h, (x, y) => (at(best, x, y) > 0 ? weight() : 0)),
      second,
      secondOrdinal: pictureOf(w, h, (x, y) => (at(second, x, y) > 0 ? depthIndex(x, y, false) : 0)),
    });
  }
  const tone = (bright: boolean) => Math.floor((bright ? 170 : 60) + 60 * random());
  const tones = () => pictureOf(width, height, (x, y) => tone(isFront(x, y)) + 256 * tone(random() < 0.5));
  states[0].tones = tones();
  states[0].coarseTones = tones();
  return { states, width, height, unit };
}

/** Planes of level 0 after `decideStrip` and `storeSurfaceStrip`. */
export interface DecidedPlanes {
  /** Stored depth index of what was decided; 0 = nothing. */
  decided: Plane;
  /** Supports, and above them what tones say. */
  supports: Plane;
  /** The peak that the surface goes through. */
  rises: Plane;
  peaks: Plane;
  /** Stored; 0 = none. */
  depthIndices: Plane;
  /** 1/unit^2, times 64. */
  weights: Plane;
  gaps: Plane;
  certainties: Plane;
  /** In the frame in which the surface is sharp; kept above certainties. */
  ownTones: Plane;
}

/** Certainties, and the tones that are kept above them. */
export function certaintiesOf(stored: Plane): Pick<DecidedPlanes, 'certainties' | 'ownTones'> {
  const of = (value: (code: number) => number): Plane => ({ ...stored, data: stored.data.map(value) });
  return { certainties: of((code) => code & 255), ownTones: of((code) => code >> 8) };
}

/** A scene in the arena: level table and planes. */
export function placeScene(rig: KernelRig, { states }: Scene) {
  const levels = states.map((state) => rig.storeCodes(names.map((name) => state[name])));
  return { levels, table: levelTable(rig, levels) };
}

/** Supports in the arena, u32, with soiled row ends. */
export function placeSupports(rig: KernelRig, supports: Plane): Planes {
  const planes = rig.arena.takePlanes(supports.width, supports.height, 1, 4);
  for (let y = 0; y < supports.height; y++) {
    const row = planes.pointer + 4 * y * planes.stride;
    rig.arena.u32(row - 64, supports.width + 32).fill(0x20202020);
    rig.arena
      .u32(row, supports.width)
      .set(supports.data.subarray(y * supports.width, (y + 1) * supports.width));
  }
  return planes;
}

export function readSupports(rig: KernelRig, { pointer, stride, width, height }: Planes): Plane {
  return pictureOf(width, height, (x, y) => rig.arena.u32(pointer + 4 * (y * stride + x), 1)[0]);
}

/** The kernels of assembly/candidates.ts, labels.ts, decide.ts and store-surface.ts over one scene, each on what it is given. */
export class LabelKernels {
  readonly levels: Planes[];
  private readonly table: number;
  private readonly size: number[];
  private readonly tail: number[];

  constructor(
    private readonly rig: KernelRig,
    private readonly scene: Scene,
  ) {
    ({ levels: this.levels, table: this.table } = placeScene(rig, scene));
    this.size = [scene.width, scene.height];
    this.tail = [scene.unit, fractionBits];
  }

  private get blank(): Plane {
    return pictureOf(this.scene.width, this.scene.height, () => 0);
  }

  gather(): Plane {
    const out = placeSupports(this.rig, this.blank);
    this.run('gatherStrip', [this.levels.length, ...this.size, out.pointer, out.stride, ...this.tail]);
    this.expectCleanEnds(out);
    return readSupports(this.rig, out);
  }

  aggregate(supports: Plane, hole: number): Plane {
    const from = placeSupports(this.rig, supports);
    for (let y = 0; y < supports.height; y++) {
      for (const end of this.endsOf(from, y)) end.fill(0);
    }
    const out = placeSupports(this.rig, this.blank);
    const pointers = [from.pointer, out.pointer, out.stride, hole];
    this.run('aggregateStrip', [this.levels.length, ...this.size, ...pointers, ...this.tail]);
    this.expectCleanEnds(out);
    return readSupports(this.rig, out);
  }

  label(supports: Plane): Plane {
    const from = placeSupports(this.rig, supports);
    const out = this.rig.storeCodes([this.blank]);
    this.run('labelStrip', [
      ...[this.levels.length, ...this.size],
      ...[from.pointer, from.stride, out.pointer, out.stride, ...this.tail],
    ]);
    return this.rig.read(out, 0);
  }

  /** Once only: it overwrites the peaks. */
  decide(given: Plane, labels: Plane, nearSign: number): DecidedPlanes {
    const from = placeSupports(this.rig, given);
    const work = this.rig.storeCodes([labels, this.blank]);
    const out = work.pointer + work.planeBytes;
    const [full] = this.levels;
    const count = this.levels.length;
    const supportsAt = [from.pointer, from.stride];
    this.run('decideStrip', [
      ...[count, ...this.size, ...supportsAt],
      ...[work.pointer, out, work.stride, nearSign, ...this.tail],
    ]);
    soilEnds(this.rig, full, 7);
    this.run('storeSurfaceStrip', [
      ...[count, ...this.size, lastFrame, ...supportsAt],
      ...[out, work.stride, ...this.tail],
    ]);
    // The smoothing counts on it: nothing has weight beyond the ends of rows.
    if (![...endsOf(this.rig, full, 7)].every((weight) => weight === 0)) {
      throw new Error('Expected no weight beyond the ends of rows');
    }
    const [rises, peaks, depthIndices, weights, gaps, stored] = [0, 1, 5, 7, 9, 10].map((plane) =>
      this.rig.read(full, plane),
    );
    const decided = this.rig.read(work, 1);
    const supports = readSupports(this.rig, from);
    return { decided, supports, rises, peaks, depthIndices, weights, gaps, ...certaintiesOf(stored) };
  }

  private run(kernel: Parameters<KernelRig['run']>[0], args: number[]): void {
    this.rig.run(kernel, [this.table, ...args], this.scene.height);
  }

  private endsOf({ pointer, stride, width }: Planes, y: number): Uint32Array[] {
    const row = pointer + 4 * y * stride;
    return [this.rig.arena.u32(row - 64, 16), this.rig.arena.u32(row + 4 * width, 16)];
  }

  /** The next pass counts on it: nothing is supported beyond the ends of rows. */
  private expectCleanEnds(planes: Planes): void {
    for (let y = 0; y < planes.height; y++) {
      if (this.endsOf(planes, y).some((end) => end.some((value) => value !== 0))) {
        throw new Error(`Expected no support beyond the ends of row ${y}`);
      }
    }
  }
}

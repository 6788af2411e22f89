import { Arena, type Planes } from '../../src/kernels/arena.js';
import {
  compileKernels,
  instantiateKernels,
  type KernelExports,
  type KernelName,
  lanczosTaps,
  orderArguments,
  tapTableBytes,
} from '../../src/kernels/kernels.js';
import { namedArguments } from './named-arguments.js';

/** Rows of a strip in these tests: short, so that small pictures have several seams. */
export const stripRows = 16;

/** A picture of one plane, row-major, (height, width). */
export interface Plane {
  width: number;
  height: number;
  data: Float64Array;
}

/** The kernels over an arena of their own, called strip by strip in this thread. */
export class KernelRig {
  readonly taps: number;
  private readonly scratch: number;

  private constructor(
    readonly arena: Arena,
    private readonly kernels: KernelExports,
  ) {
    this.taps = arena.take(tapTableBytes);
    arena.f32(this.taps, tapTableBytes / 4).set(lanczosTaps());
    this.scratch = arena.take(4 << 20);
  }

  static async start(): Promise<KernelRig> {
    const arena = new Arena();
    return new KernelRig(arena, await instantiateKernels(await compileKernels(), arena.memory));
  }

  /** Runs all strips of a kernel whose strips cover `rows`; the last strip first, as order may not matter. */
  run(kernel: KernelName, args: number[], rows: number): void {
    const ordered = orderArguments(kernel, namedArguments(kernel, [...args, stripRows]));
    for (let strip = Math.ceil(rows / stripRows) - 1; strip >= 0; strip--) {
      this.kernels[kernel](...ordered, strip, this.scratch);
    }
  }

  /** Float planes with these contents and row ends mirrored, as the kernels leave them. */
  store(pictures: readonly Plane[]): Planes {
    const { width, height } = pictures[0];
    const planes = this.arena.takePlanes(width, height, pictures.length, 4);
    pictures.forEach((picture, p) => {
      for (let y = 0; y < height; y++) {
        const start = planes.pointer + p * planes.planeBytes + y * planes.stride * 4;
        const row = this.arena.f32(start - 32, width + 16);
        for (let x = -8; x < width + 8; x++) row[x + 8] = at(picture, x, y);
      }
    });
    return planes;
  }

  /** Planes of 16-bit whole numbers with these contents. */
  storeCodes(pictures: readonly Plane[]): Planes {
    const { width, height } = pictures[0];
    const planes = this.arena.takePlanes(width, height, pictures.length, 2);
    pictures.forEach((picture, p) => {
      const data = this.arena.planeU16(planes, p);
      for (let y = 0; y < height; y++) {
        for (let x = 0; x < width; x++) data[y * planes.stride + x] = at(picture, x, y);
      }
    });
    return planes;
  }

  /** Interleaved samples into the arena, with the few bytes of room that vector loads need. */
  placeSamples(samples: Uint8Array | Uint16Array | Float32Array): number {
    const pointer = this.arena.take(samples.byteLength + 64);
    const bytes = new Uint8Array(samples.buffer, samples.byteOffset, samples.byteLength);
    this.arena.u8(pointer, samples.byteLength).set(bytes);
    return pointer;
  }

  read(planes: Planes, plane = 0): Plane {
    const { width, height, stride } = planes;
    const source =
      planes.elementBytes === 4 ? this.arena.planeF32(planes, plane) : this.arena.planeU16(planes, plane);
    return pictureOf(width, height, (x, y) => source[y * stride + x]);
  }
}

/** A random generator of 0..1: the linear congruence of Numerical Recipes. */
export function randomFrom(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 2 ** 32;
  };
}

export function pictureOf(width: number, height: number, value: (x: number, y: number) => number): Plane {
  const data = new Float64Array(width * height);
  for (let y = 0; y < height; y++) for (let x = 0; x < width; x++) data[y * width + x] = value(x, y);
  return { width, height, data };
}

/** Random samples 0..255, exact in 32-bit floats. */
export function noise(width: number, height: number, seed: number): Plane {
  const random = randomFrom(seed);
  return pictureOf(width, height, () => Math.fround(random() * 255));
}

/** Random interleaved RGB samples over the whole range. */
export function noiseRgb(
  width: number,
  height: number,
  bits: 8 | 16,
  seed: number,
): Uint8Array | Uint16Array {
  const random = randomFrom(seed);
  const samples = bits === 8 ? new Uint8Array(width * height * 3) : new Uint16Array(width * height * 3);
  return samples.map(() => random() * 2 ** bits);
}

/** A channel of interleaved RGB as 0..255. */
export function channelOf(
  samples: Uint8Array | Uint16Array,
  width: number,
  height: number,
  channel: number,
): Plane {
  const unit = samples instanceof Uint8Array ? 1 : 257;
  return pictureOf(width, height, (x, y) => samples[(y * width + x) * 3 + channel] / unit);
}

/** Pixel, mirrored about the first and last without repeating them. */
export function at({ width, height, data }: Plane, x: number, y: number): number {
  return data[reflect(y, height) * width + reflect(x, width)];
}

function reflect(i: number, n: number): number {
  const period = Math.max(1, 2 * n - 2);
  const j = ((i % period) + period) % period;
  return j < n ? j : period - j;
}

/** Largest difference of two pictures, `border` pixels from every edge left out; NaN counts as infinite. */
export function worstDifference(first: Plane, second: Plane, border = 0): number {
  if (first.width !== second.width || first.height !== second.height) return Number.POSITIVE_INFINITY;
  let worst = 0;
  for (let y = border; y < first.height - border; y++) {
    for (let x = border; x < first.width - border; x++) {
      const difference = Math.abs(at(first, x, y) - at(second, x, y));
      if (!(difference <= worst)) worst = Number.isNaN(difference) ? Number.POSITIVE_INFINITY : difference;
    }
  }
  return worst;
}

const fiveTaps = [1, 4, 6, 4, 1].map((tap) => tap / 16);

/** The 5 x 5 window [1 4 6 4 1] / 16 in both directions about a pixel. */
export function windowed(picture: Plane, x: number, y: number): number {
  let sum = 0;
  for (let j = -2; j <= 2; j++) {
    for (let i = -2; i <= 2; i++) sum += fiveTaps[i + 2] * fiveTaps[j + 2] * at(picture, x + i, y + j);
  }
  return sum;
}

/** REDUCE of Burt & Adelson: the window at every other pixel. */
export function reduced(picture: Plane): Plane {
  return pictureOf((picture.width + 1) >> 1, (picture.height + 1) >> 1, (x, y) =>
    windowed(picture, 2 * x, 2 * y),
  );
}

/** EXPAND of Burt & Adelson: 4 sum of w(m, n) coarse((x - m) / 2, (y - n) / 2) over whole positions. */
export function expanded(coarse: Plane, width: number, height: number): Plane {
  return pictureOf(width, height, (x, y) => {
    let sum = 0;
    for (let n = -2; n <= 2; n++) {
      for (let m = -2; m <= 2; m++) {
        if ((x - m) % 2 !== 0 || (y - n) % 2 !== 0) continue;
        sum += 4 * fiveTaps[m + 2] * fiveTaps[n + 2] * at(coarse, (x - m) / 2, (y - n) / 2);
      }
    }
    return sum;
  });
}

import { readFile } from 'node:fs/promises';
import { gpuKernels } from './kernel-parameters.js';

type Kernels = typeof gpuKernels;

export type GpuKernelName = keyof Kernels;

type NumberTypes = { i32: number; u32: number; f32: number; vec2f: Vector2; vec4f: Vector4; Affine: Affine };
type Vector2 = readonly [number, number];
type Vector4 = readonly [number, number, number, number];

/** Coefficients a to f of (x, y) -> (a x + b y + c, d x + e y + f). */
export interface Affine {
  a: number;
  b: number;
  c: number;
  d: number;
  e: number;
  f: number;
}

/** Numbers of a kernel by name, all of them. */
export type GpuNumbers<K extends GpuKernelName> = {
  readonly [N in keyof Kernels[K]['numbers']]: Kernels[K]['numbers'][N] extends keyof NumberTypes
    ? NumberTypes[Kernels[K]['numbers'][N]]
    : never;
};

/** What is bound, by name: `Set` for sets of planes, `Table` for other buffers. */
export type GpuBindings<K extends GpuKernelName, Set, Table> = {
  readonly [N in keyof Kernels[K]['bindings']]: Kernels[K]['bindings'][N] extends { kind: 'set' }
    ? Set
    : Table;
};

export interface KernelBinding {
  name: string;
  isSet: boolean;
  access: 'read' | 'read_write';
}

/** A kernel's declarations in their order, for code that handles any of them. */
export interface KernelShape {
  sets: readonly string[];
  bindings: readonly KernelBinding[];
  numbers: readonly (readonly [string, keyof NumberTypes])[];
  /** Bytes of its uniforms. */
  uniformBytes: number;
}

const bandBytes = 16;
const setBytes = 32;
const sizes = { i32: 4, u32: 4, f32: 4, vec2f: 8, vec4f: 16, Affine: 32 } as const;
const alignments = { i32: 4, u32: 4, f32: 4, vec2f: 8, vec4f: 16, Affine: 16 } as const;

/** Next place of a number of a type at or after `offset`. */
function alignedTo(offset: number, type: keyof NumberTypes): number {
  return Math.ceil(offset / alignments[type]) * alignments[type];
}

export function kernelShape(name: GpuKernelName): KernelShape {
  const { sets, bindings, numbers } = gpuKernels[name];
  const shape = {
    sets,
    bindings: Object.entries(bindings).map(([binding, { kind, access }]) => ({
      name: binding,
      isSet: kind === 'set',
      access,
    })),
    numbers: Object.entries(numbers) as [string, keyof NumberTypes][],
  };
  let end = bandBytes + setBytes * sets.length;
  for (const [, type] of shape.numbers) end = alignedTo(end, type) + sizes[type];
  return { ...shape, uniformBytes: Math.ceil(end / 16) * 16 };
}

/** A set's place in its binding, as `Set` in common.wgsl. */
export interface BoundSet {
  width: number;
  height: number;
  planes: number;
  firstRow: number;
  rowWords: number;
  planeWords: number;
  rowBytes: number;
  startByte: number;
}

/** Writes the uniforms of a dispatch as `Call` declares them. */
export function writeUniforms(
  to: DataView,
  offset: number,
  shape: KernelShape,
  band: { width: number; fromRow: number; toRow: number },
  sets: readonly BoundSet[],
  numbers: Readonly<Record<string, unknown>>,
): void {
  let at = offset;
  const put = (...values: number[]) => {
    for (const value of values) {
      to.setInt32(at, value, true);
      at += 4;
    }
  };
  put(band.width, band.fromRow, band.toRow, 0);
  for (const { width, height, planes, firstRow, rowWords, planeWords, rowBytes, startByte } of sets)
    put(width, height, planes, firstRow, rowWords, planeWords, rowBytes, startByte);
  const putFloats = (values: readonly number[]) => {
    for (const value of values) {
      to.setFloat32(at, value, true);
      at += 4;
    }
  };
  for (const [name, type] of shape.numbers) {
    at = offset + alignedTo(at - offset, type);
    const value = numbers[name];
    if (type === 'i32') put(value as number);
    else if (type === 'u32') {
      to.setUint32(at, value as number, true);
      at += 4;
    } else if (type === 'f32') putFloats([value as number]);
    else if (type === 'Affine') {
      const { a, b, c, d, e, f } = value as Affine;
      // Taken apart here, in double precision: see `Affine` in common.wgsl.
      const whole = [Math.floor(c), Math.floor(f)];
      putFloats([a - 1, b, d, e - 1]);
      put(...whole);
      putFloats([c - whole[0], f - whole[1]]);
    } else putFloats(value as readonly number[]);
  }
}

/** Kernels as the build leaves them; the same folder serves the sources (tests) and the build. */
const folder = new URL('../../dist/gpu/wgsl/', import.meta.url);

export const gpuKernelNames = Object.keys(gpuKernels) as GpuKernelName[];

let texts: Promise<ReadonlyMap<GpuKernelName, string>> | undefined;

/** The text of each kernel. */
export function programTexts(): Promise<ReadonlyMap<GpuKernelName, string>> {
  texts ??= (async () => {
    const entries = gpuKernelNames.map(
      async (name) => [name, await readFile(new URL(`${name}.wgsl`, folder), 'utf8')] as const,
    );
    return new Map(await Promise.all(entries));
  })();
  return texts;
}

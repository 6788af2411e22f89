import { readFile } from 'node:fs/promises';
import { type Address, addressIn } from './arena.js';
import { importsOf, kernelFile } from './direct-kernels.js';
import { kernelParameters } from './kernel-parameters.js';

type Parameters = typeof kernelParameters;

/** Kernels that work strip by strip: the pool can run them. See the files in `assembly/`. */
export type KernelName = {
  [K in keyof Parameters]: 'strip' extends Parameters[K][number] ? K : never;
}[keyof Parameters];

/** Arguments of a strip kernel by name, all of them; what calls it adds the strip and a worker's scratch. */
export type StripArguments<K extends KernelName> = Readonly<
  Record<Exclude<Parameters[K][number], 'strip' | 'scratch'>, Address>
>;

export type KernelExports = Record<KernelName, (...args: number[]) => void>;

/** The arguments of a strip kernel for one of the memories, in their order, without strip and scratch, which come last. */
export function orderArguments<K extends KernelName>(
  kernel: K,
  args: StripArguments<K>,
  memory = 0,
): number[] {
  const names = kernelParameters[kernel].slice(0, -2) as (keyof StripArguments<K>)[];
  return names.map((name) => addressIn(args[name], memory));
}

let compiled: Promise<WebAssembly.Module> | undefined;

/**
 * The compiled module, one for the whole process, so that what the engine has optimised serves the next merge too; the
 * same file serves the sources (tests) and the build.
 */
export function compileKernels(): Promise<WebAssembly.Module> {
  compiled ??= readFile(kernelFile).then((bytes) => WebAssembly.compile(bytes));
  return compiled;
}

/** One instance over a shared memory. Instances hold no static data, so any number may share it. */
export async function instantiateKernels(
  module: WebAssembly.Module,
  memory: WebAssembly.Memory,
): Promise<KernelExports> {
  const instance = await WebAssembly.instantiate(module, importsOf(memory));
  return instance.exports as unknown as KernelExports;
}

/** Phases of the tap table; a position is kept to 1/512 px. */
const tapPhases = 512;
const tapFloats = 8;
export const tapTableBytes = tapPhases * tapFloats * 4;

/**
 * Taps of the Lanczos window with three lobes for each phase, normalised to sum 1 so that a flat picture stays
 * flat: [phase][tap], taps at -2..3 from the pixel left of the position, two floats of filling.
 * Reference: Duchon, J. Applied Meteorology 18 (1979); phase 0 copies its pixel exactly.
 */
export function lanczosTaps(): Float32Array {
  const table = new Float32Array(tapPhases * tapFloats);
  for (let phase = 0; phase < tapPhases; phase++) {
    const taps = [-2, -1, 0, 1, 2, 3].map((i) => lanczos3(i - phase / tapPhases));
    const sum = taps.reduce((total, tap) => total + tap, 0);
    taps.forEach((tap, i) => {
      table[phase * tapFloats + i] = tap / sum;
    });
  }
  return table;
}

function lanczos3(x: number): number {
  if (x === 0) return 1;
  if (Math.abs(x) >= 3 || Number.isInteger(x)) return 0;
  const p = Math.PI * x;
  return (3 * Math.sin(p) * Math.sin(p / 3)) / (p * p);
}

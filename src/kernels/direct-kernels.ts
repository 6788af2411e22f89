import { readFileSync } from 'node:fs';
import type { Arena } from './arena.js';
import { kernelParameters } from './kernel-parameters.js';
import type { KernelName } from './kernels.js';

type Parameters = typeof kernelParameters;
type DirectName = Exclude<keyof Parameters, KernelName>;

/**
 * Kernels by name that a thread runs at once. They take arguments by name, an array in their memory for its address, and return
 * what their forms in `assembly/` do.
 */
export type DirectKernels<Name extends DirectName = DirectName> = {
  [K in Name]: (args: Readonly<Record<Parameters[K][number], number | ArrayBufferView>>) => number;
};

const allNames = (Object.keys(kernelParameters) as (keyof Parameters)[]).filter(
  (name): name is DirectName => !(kernelParameters[name] as readonly string[]).includes('strip'),
);

export const kernelFile = new URL('../../dist/kernels/lamella.wasm', import.meta.url);

/** What an instance is given. */
export function importsOf(memory: WebAssembly.Memory) {
  const abort = () => {
    throw new Error('A kernel reached a state that it does not expect');
  };
  return { env: { memory, abort } };
}

let compiled: WebAssembly.Module | undefined;

/** Kernels over an arena's memory that the caller's thread runs. By default all that do not work strip by strip. */
export function directKernels<Name extends DirectName = DirectName>(
  { memory }: Pick<Arena, 'memory'>,
  names: readonly Name[] = allNames as Name[],
): DirectKernels<Name> {
  compiled ??= new WebAssembly.Module(readFileSync(kernelFile));
  const { exports } = new WebAssembly.Instance(compiled, importsOf(memory));
  const exported = exports as Record<Name, (...args: number[]) => number>;
  const named = (name: Name) => (args: Readonly<Record<string, number | ArrayBufferView>>) =>
    exported[name](...kernelParameters[name].map((parameter) => addressOf(args[parameter])));
  return Object.fromEntries(names.map((name) => [name, named(name)])) as DirectKernels<Name>;
}

function addressOf(argument: number | ArrayBufferView): number {
  return typeof argument === 'number' ? argument : argument.byteOffset;
}

import { readFileSync } from 'node:fs';
import type { Arena } from './arena.js';
import { kernelParameters } from './kernel-parameters.js';
import type { KernelArguments } from './kernels.js';

let compiled: WebAssembly.Module | undefined;

/**
 * Kernels over an arena's memory that the caller's thread runs at once, each with its arguments by name. They return what
 * their forms in `assembly/` do.
 */
export function directKernels<Name extends keyof typeof kernelParameters>(
  { memory }: Pick<Arena, 'memory'>,
  names: readonly Name[],
): { [K in Name]: (args: KernelArguments<K>) => number } {
  compiled ??= new WebAssembly.Module(
    readFileSync(new URL('../../dist/kernels/lamella.wasm', import.meta.url)),
  );
  const abort = () => {
    throw new Error('A kernel reached a state that it does not expect');
  };
  const instance = new WebAssembly.Instance(compiled, { env: { memory, abort } });
  const exported = instance.exports as Record<Name, (...args: number[]) => number>;
  const named = <K extends Name>(name: K) => {
    const parameters = kernelParameters[name] as readonly (keyof KernelArguments<K>)[];
    return (args: KernelArguments<K>) => exported[name](...parameters.map((parameter) => args[parameter]));
  };
  return Object.fromEntries(names.map((name) => [name, named(name)])) as unknown as {
    [K in Name]: (args: KernelArguments<K>) => number;
  };
}

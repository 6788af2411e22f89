import { readFileSync } from 'node:fs';
import type { Arena } from './arena.js';
import { kernelParameters } from './kernel-parameters.js';
import type { KernelArguments } from './kernels.js';

/** The kernels of registration, which runs on one thread; see `assembly/register.ts` for their parameters. */
export type RegisterKernelName = 'bandStrip' | 'clampStrip' | 'lightStrip' | 'tileCross' | 'tileMoments';
/** Each takes its arguments by name. */
export type RegisterKernels = { [K in RegisterKernelName]: (args: KernelArguments<K>) => void };

let compiled: WebAssembly.Module | undefined;

/** The kernels over an arena's memory, at once: registration is called frame by frame and never waits. */
export function registerKernels({ memory }: Arena): RegisterKernels {
  compiled ??= new WebAssembly.Module(
    readFileSync(new URL('../../dist/kernels/lamella.wasm', import.meta.url)),
  );
  const abort = () => {
    throw new Error('A kernel reached a state that it does not expect');
  };
  const instance = new WebAssembly.Instance(compiled, { env: { memory, abort } });
  const exported = instance.exports as Record<RegisterKernelName, (...args: number[]) => void>;
  const named = <K extends RegisterKernelName>(name: K) => {
    const names = kernelParameters[name] as readonly (keyof KernelArguments<K>)[];
    return (args: KernelArguments<K>) => exported[name](...names.map((parameter) => args[parameter]));
  };
  return {
    bandStrip: named('bandStrip'),
    clampStrip: named('clampStrip'),
    lightStrip: named('lightStrip'),
    tileCross: named('tileCross'),
    tileMoments: named('tileMoments'),
  };
}

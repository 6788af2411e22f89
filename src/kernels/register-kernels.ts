import { readFileSync } from 'node:fs';
import type { Arena } from './arena.js';

/** The kernels of registration, which runs on one thread; see `assembly/register.ts` for their parameters. */
export type RegisterKernelName = 'bandStrip' | 'clampStrip' | 'lightStrip' | 'tileCross' | 'tileMoments';
export type RegisterKernels = Record<RegisterKernelName, (...args: number[]) => void>;

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
  return instance.exports as unknown as RegisterKernels;
}

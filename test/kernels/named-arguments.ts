import { kernelParameters } from '../../src/kernels/kernel-parameters.js';
import type { KernelName, StripArguments } from '../../src/kernels/kernels.js';

/** Arguments of a strip kernel by name from their list, less strip and scratch. Throws when one is missing or too many. */
export function namedArguments<K extends KernelName>(
  kernel: K,
  values: readonly number[],
): StripArguments<K> {
  const names = kernelParameters[kernel].slice(0, -2);
  if (values.length !== names.length) {
    throw new Error(
      `Expected ${names.length} arguments for ${kernel} (${names.join(', ')}) but received ${values.length}`,
    );
  }
  return Object.fromEntries(names.map((name, i) => [name, values[i]])) as StripArguments<K>;
}

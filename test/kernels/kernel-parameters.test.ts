import { readFile } from 'node:fs/promises';
import { expect, it } from 'vitest';
import { kernelParameters } from '../../src/kernels/kernel-parameters.js';
import { compileKernels, orderArguments } from '../../src/kernels/kernels.js';

it('the names of the parameters are those of the signatures in assembly/', async () => {
  // A script of the build, without types.
  const generator = new URL('../../src/kernels/generate-parameters.js', import.meta.url).href;
  const { parametersText } = (await import(generator)) as { parametersText(): string };
  const file = new URL('../../src/kernels/kernel-parameters.ts', import.meta.url);
  expect(await readFile(file, 'utf8')).toBe(parametersText());
});

it('each kernel of the compiled module takes as many parameters as it has names', async () => {
  const { exports } = await instanceOf();
  for (const [name, parameters] of Object.entries(kernelParameters)) {
    // The number of parameters of an exported function is its length (WebAssembly JavaScript Interface, W3C).
    expect((exports[name] as (...args: number[]) => void).length, name).toBe(parameters.length);
  }
});

it('arguments by name come in the order of the parameters, without strip and scratch', () => {
  const given = { stripRows: 6, codeStride: 5, codes: 4, height: 3, width: 2, stride: 1, luma: 0 };
  expect(orderArguments('focusStrip', given)).toEqual([0, 1, 2, 3, 4, 5, 6]);
  // @ts-expect-error an argument is missing
  const missing = () => orderArguments('focusStrip', { stripRows: 6, codeStride: 5, codes: 4, height: 3 });
  expect(missing).toThrow(TypeError);
  // @ts-expect-error an argument has another name
  orderArguments('focusStrip', { ...given, lumaStride: 1 });
});

async function instanceOf(): Promise<WebAssembly.Instance> {
  const memory = new WebAssembly.Memory({ initial: 1, maximum: 65536, shared: true });
  return WebAssembly.instantiate(await compileKernels(), { env: { memory, abort: () => {} } });
}

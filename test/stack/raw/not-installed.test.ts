import sharp from 'sharp';
import { expect, it, vi } from 'vitest';
import { UsageError } from '../../../src/errors.js';
import { readStack } from '../../../src/stack/read-stack.js';
import { makeFolder } from '../pictures.js';

// As where npm was told to leave out optional packages.
vi.mock('node:module', async (original) => {
  const own = await original<typeof import('node:module')>();
  return {
    ...own,
    createRequire: (from: string) => {
      const require = own.createRequire(from);
      const resolve = (name: string) => {
        if (!name.startsWith('libraw-wasm')) return require.resolve(name);
        throw Object.assign(new Error(`Cannot find module '${name}'`), { code: 'MODULE_NOT_FOUND' });
      };
      return Object.assign((name: string) => require(name), { resolve });
    },
  };
});

it('raw files are refused with the package to install where LibRaw is not installed', async () => {
  const folder = makeFolder({ 'a.dng': 'II*\0', 'b.dng': 'II*\0' });
  const error = await readStack(folder).catch((reason: unknown) => reason);
  expect(error).toBeInstanceOf(UsageError);
  expect((error as UsageError).message).toMatch(
    /package libraw-wasm, which is not installed\. .* npm install libraw-wasm@1 .* 16-bit TIFF first/,
  );
});

it('a stack of JPEG files beside raw files is read without it, which is said', async () => {
  const jpeg = await sharp({ create: { width: 32, height: 24, channels: 3, background: 'grey' } })
    .jpeg()
    .toBuffer();
  const files = { 'a.dng': 'II*\0', 'a.jpg': jpeg, 'b.dng': 'II*\0', 'b.jpg': jpeg, 'c.nef': 'II*\0' };
  const { frames, notes, warnings } = await readStack(makeFolder(files));
  expect(frames.map(({ name }) => name)).toEqual(['a.jpg', 'b.jpg']);
  expect(notes[0].message).toMatch(
    /^2 camera raw files \(a\.dng and b\.dng\) ignored: the JPEG files of the same names are used\. .*libraw-wasm/,
  );
  expect(warnings[0].message).toMatch(/^1 camera raw file \(c\.nef\) left out\. .*npm install libraw-wasm@1/);
});

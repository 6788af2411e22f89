import { readFileSync, writeFileSync } from 'node:fs';
import { mkdtemp } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { build } from 'esbuild';
import { expect, it } from 'vitest';
import { compiledStack } from '../../src/cli/compiled-stack.js';
import { removeAfter } from '../temporary-folders.js';

it('names the module that a bundle was made of, with the line in it', async () => {
  const folder = await mkdtemp(join(tmpdir(), 'lamella-stack-'));
  removeAfter('test', folder);
  const module = join(folder, 'thrower.js');
  writeFileSync(module, '// A comment.\n\nexport function thrower() {\n  return new Error("thrown");\n}\n');
  writeFileSync(join(folder, 'entry.js'), "export { thrower } from './thrower.js';\n");
  const outdir = join(folder, 'bundles');
  const entryPoints = [join(folder, 'entry.js')];
  await build({
    entryPoints,
    outdir,
    bundle: true,
    format: 'esm',
    sourcemap: 'linked',
    sourcesContent: false,
  });
  const bundled = join(outdir, 'entry.js');
  const { thrower } = (await import(pathToFileURL(bundled).href)) as { thrower: () => Error };
  // As the engine would name it, whoever has loaded the bundle.
  const line =
    readFileSync(bundled, 'utf8')
      .split('\n')
      .findIndex((text) => text.includes('new Error')) + 1;
  const stack = `${thrower().message}\n    at thrower (${pathToFileURL(bundled).href}:${line}:10)`;
  expect(compiledStack(stack)).toBe(`thrown\n    at thrower (${module}:4:10)`);
});

it('leaves places that belong to no bundle', () => {
  const stack = 'Error: x\n    at a (file:///nowhere/a.js:1:2)\n    at node:internal/b:3:4';
  expect(compiledStack(stack)).toBe(stack);
});

import { execFile } from 'node:child_process';
import { cp, mkdir, readFile, symlink, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { promisify } from 'node:util';
import type { ConstantValue, StatedConstant } from './constants.js';

const root = fileURLToPath(new URL('../../../', import.meta.url));
const run = promisify(execFile);

/** A fifth up or down; what counts something moves by one at least. */
export function moved(value: ConstantValue, type: StatedConstant['type'], factor: number): ConstantValue {
  if (typeof value !== 'number') return value.map((element) => moved(element, type, factor) as number);
  const target = value * factor;
  if (type === '' || type === 'f32') return target;
  return factor > 1 ? Math.ceil(target) : Math.floor(target);
}

/**
 * Writes a copy of the built program into a folder, with one constant changed: numbers that are derived from it follow,
 * in TypeScript and in the kernels, which are compiled anew where they read it.
 */
export async function varyProgram(
  { station, name }: StatedConstant,
  value: ConstantValue,
  folder: string,
): Promise<void> {
  await mkdir(join(folder, 'src'), { recursive: true });
  for (const part of ['bin', 'dist', 'package.json', 'src/kernels'])
    await cp(join(root, part), join(folder, part), { recursive: true });
  await symlink(join(root, 'node_modules'), join(folder, 'node_modules'), 'dir');
  const module = join(folder, 'dist', 'model', 'constants', `${station}.js`);
  const text = await readFile(module, 'utf8');
  const changed = text.replace(
    new RegExp(`^export const ${name} = [^;]*;`, 'm'),
    `export const ${name} = ${JSON.stringify(value)};`,
  );
  if (changed === text) throw new Error(`Expected another value than ${JSON.stringify(value)} for ${name}`);
  await writeFile(module, changed);
  const compiled = ['--compiled', join(folder, 'dist')];
  await run(process.execPath, [join(root, 'src/bundle.js'), ...compiled]);
  const kernelConstants = join(folder, 'src/kernels/assembly/constants.ts');
  const before = await readFile(kernelConstants, 'utf8');
  const generate = [...compiled, '--out', kernelConstants];
  await run(process.execPath, [join(root, 'src/kernels/generate-constants.js'), ...generate]);
  if ((await readFile(kernelConstants, 'utf8')) === before) return;
  const compiler = join(root, 'node_modules/assemblyscript/bin/asc.js');
  await run(process.execPath, [compiler, '--config', 'src/kernels/asconfig.json'], { cwd: folder });
}

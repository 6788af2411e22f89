// Writes assembly/constants.ts: the constants of the model that kernels read. Part of the build, after TypeScript is
// compiled, so that TypeScript and kernels read the same numbers.
//
// Constants are stated in src/model/constants, a file a station, each as
//
//   /** KIND TYPE [UNIT]: what it decides. */
//   export const NAME = EXPRESSION;
//
// KIND is Free for a number that was chosen by measurement, Derived for one that follows from others, from a standard or
// from a published figure, Effort for one that bounds time or memory (rounds, budgets,
// resolutions), and Layout for how numbers lie in memory. TYPE is f32, i32 or usize where kernels read the constant; int or absent where TypeScript alone does, int for what counts something.
import { readdirSync, readFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { parseArgs } from 'node:util';
import { writeIfChanged } from './write-if-changed.js';

const sources = fileURLToPath(new URL('../model/constants/', import.meta.url));
const stated =
  /\/\*\*\s+(?:\* )?(Free|Derived|Effort|Layout)(?: (f32|i32|usize|int))? \[([^\]]+)\]: ((?:(?!\*\/)[\s\S])+)\*\/\nexport const (\w+) =/g;

/** All constants: station, name, kind, type or '', unit, and what each decides. Throws for one that is stated otherwise. */
export function readConstants() {
  return readdirSync(sources)
    .filter((file) => file.endsWith('.ts'))
    .sort()
    .flatMap((file) => {
      const text = readFileSync(join(sources, file), 'utf8');
      const found = [...text.matchAll(stated)].map(([, kind, type, unit, decides, name]) => ({
        station: file.slice(0, -'.ts'.length),
        name,
        kind,
        type: type ?? '',
        unit,
        decides: decides.replaceAll(/\s*\n \* ?/g, ' ').trim(),
      }));
      const names = [...text.matchAll(/^export const (\w+)/gm)].map(([, name]) => name);
      const unstated = names.filter((name) => !found.some((constant) => constant.name === name));
      if (unstated.length > 0)
        throw new Error(`Expected "/** KIND [UNIT]: ... */" before ${unstated.join(', ')} in ${file}`);
      return found;
    });
}

/** The values of all constants by name, of the modules in a folder that TypeScript was compiled to. */
export async function readValues(compiled) {
  const files = [...new Set(readConstants().map(({ station }) => `${station}.js`))];
  const modules = await Promise.all(
    files.map((file) => import(pathToFileURL(resolve(compiled, 'model', 'constants', file)).href)),
  );
  return Object.assign({}, ...modules);
}

/** The text of assembly/constants.ts for these values. */
export function constantsText(values) {
  const lines = readConstants()
    .filter(({ type }) => type !== '' && type !== 'int')
    .map(
      ({ name, type, unit, decides }) =>
        `/** [${unit}]: ${decides} */\nexport const ${name}: ${type} = ${values[name]};\n`,
    );
  return ['// Written by generate-constants.js from src/model/constants. Do not edit.\n', ...lines].join(
    '\n',
  );
}

if (process.argv[1] === fileURLToPath(import.meta.url)) {
  const { values: flags } = parseArgs({
    options: {
      compiled: { type: 'string', default: fileURLToPath(new URL('../../dist', import.meta.url)) },
      out: { type: 'string', default: fileURLToPath(new URL('assembly/constants.ts', import.meta.url)) },
    },
  });
  writeIfChanged(flags.out, constantsText(await readValues(flags.compiled)));
}

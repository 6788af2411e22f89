// Writes kernel-parameters.ts: the names of every kernel's parameters, read off the signatures in assembly/. Part of the
// build, so that the compiler checks names and number of the arguments wherever a kernel is called.
import { readdirSync, readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { writeIfChanged } from './write-if-changed.js';

const at = (path) => fileURLToPath(new URL(path, import.meta.url));

/** Parameters of the functions that assembly/index.ts exports, by name. Throws for one that no file declares. */
export function readParameters() {
  const index = readFileSync(at('assembly/index.ts'), 'utf8');
  const exported = [...index.matchAll(/export \{([^}]*)\}/g)].flatMap(([, names]) =>
    names.split(',').map((name) => name.trim()),
  );
  const sources = readdirSync(at('assembly/'))
    .filter((name) => name.endsWith('.ts'))
    .map((name) => readFileSync(at(`assembly/${name}`), 'utf8'))
    .join('\n');
  return Object.fromEntries(
    exported.sort().map((name) => {
      const found = new RegExp(`export function ${name}\\(([^)]*)\\)`).exec(sources);
      if (!found) throw new Error(`Expected a function ${name} in assembly/ but found none`);
      const parameters = found[1].split(',').map((parameter) => parameter.split(':')[0].trim());
      return [name, parameters.filter((parameter) => parameter !== '')];
    }),
  );
}

/** The text of kernel-parameters.ts. */
export function parametersText() {
  const lines = Object.entries(readParameters()).map(
    ([name, parameters]) => `  ${name}: [${parameters.map((parameter) => `'${parameter}'`).join(', ')}],`,
  );
  return `// Written by generate-parameters.js from the signatures in assembly/. Do not edit.\n\n/** Names of the parameters of each kernel, in their order. */\nexport const kernelParameters = {\n${lines.join('\n')}\n} as const;\n`;
}

if (process.argv[1] === fileURLToPath(import.meta.url))
  writeIfChanged(at('kernel-parameters.ts'), parametersText());

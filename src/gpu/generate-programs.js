// Two steps of the build for the kernels in wgsl/, so that the compiler checks what a kernel is called with, and so that
// TypeScript and both kinds of kernels read the same constants:
//   node src/gpu/generate-programs.js             before TypeScript: writes kernel-parameters.ts from the declarations
//   node src/gpu/generate-programs.js --constants after it: writes dist/gpu/wgsl, the kernels and constants.wgsl
//
// A kernel declares in this form what it is called with; the first member of Call is the band of rows:
//
//   struct Call {
//     band: Band,
//     NAME: Set,      for each set of planes, under the name of its binding
//     NAME: TYPE,     then numbers: i32, u32, f32, vec2f, vec4f, Affine
//   }
//   @group(0) @binding(0) var<uniform> call: Call;
//   @group(0) @binding(N) var<storage, read> NAME: array<...>;
//
// A binding that Call has no Set for is a table: a buffer that is bound as a whole. A comment `// with FILE` names a file of
// functions that the kernel shares with others.
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { readConstants, readValues } from '../kernels/generate-constants.js';

const at = (path) => fileURLToPath(new URL(path, import.meta.url));
const shared = ['common.wgsl', 'resample.wgsl'];
const numberTypes = ['i32', 'u32', 'f32', 'vec2f', 'vec4f', 'Affine'];

/** Sets and tables (by binding, from 1), and numbers of each kernel. Throws for a declaration of another form. */
export function readDeclarations() {
  const files = readdirSync(at('wgsl/')).filter((file) => file.endsWith('.wgsl') && !shared.includes(file));
  return Object.fromEntries(
    files.sort().map((file) => {
      const text = readFileSync(at(`wgsl/${file}`), 'utf8').replaceAll(/\/\/.*/g, '');
      const name = file.slice(0, -'.wgsl'.length);
      const members = /struct Call \{([^}]*)\}/.exec(text)?.[1].split(',') ?? [];
      const [band, ...rest] = members.map((member) => member.trim().split(/:\s*/)).filter(([m]) => m !== '');
      if (band?.[1] !== 'Band') throw new Error(`Expected "struct Call { band: Band, ... }" in ${file}`);
      const sets = rest.filter(([, type]) => type === 'Set').map(([member]) => member);
      const numbers = rest.filter(([, type]) => type !== 'Set');
      for (const [member, type] of numbers) {
        if (!numberTypes.includes(type))
          throw new Error(`Expected ${numberTypes.join(', ')} for ${member} in ${file} but found ${type}`);
      }
      if (rest.findLastIndex(([, type]) => type === 'Set') >= sets.length)
        throw new Error(`Expected the sets before the numbers in ${file}`);
      const bindings = [
        ...text.matchAll(/@group\(0\) @binding\((\d+)\) var<storage, (read|read_write)> (\w+)/g),
      ].map(([, binding, access, member]) => ({ binding: Number(binding), access, member }));
      bindings.forEach(({ binding, member }, i) => {
        if (binding !== i + 1) throw new Error(`Expected @binding(${i + 1}) for ${member} in ${file}`);
      });
      for (const set of sets) {
        if (!bindings.some(({ member }) => member === set))
          throw new Error(`Expected a binding for ${set} in ${file}`);
      }
      return [name, { sets, bindings, numbers }];
    }),
  );
}

/** The text of kernel-parameters.ts. */
export function parametersText() {
  const kernels = Object.entries(readDeclarations()).map(([name, { sets, bindings, numbers }]) => {
    const all = bindings.map(
      ({ member, access }) =>
        `      ${member}: { kind: '${sets.includes(member) ? 'set' : 'table'}', access: '${access}' },`,
    );
    const given = numbers.map(([member, type]) => `      ${member}: '${type}',`);
    return [
      `  ${name}: {`,
      `    sets: [${sets.map((set) => `'${set}'`).join(', ')}],`,
      '    bindings: {',
      ...all,
      '    },',
      '    numbers: {',
      ...given,
      '    },',
      '  },',
    ].join('\n');
  });
  return `// Written by generate-programs.js from the declarations in wgsl/. Do not edit.\n\n/** What each kernel is called with: sets in the order of its uniforms, bindings in their order, numbers in theirs. */\nexport const gpuKernels = {\n${kernels.join('\n')}\n} as const;\n`;
}

/** The text of constants.wgsl for these values. */
export function wgslConstants(values) {
  return readConstants()
    .filter(({ type }) => type !== '' && type !== 'int')
    .map(({ name, type }) => {
      const kind = type === 'f32' ? 'f32' : 'i32';
      return `const ${name}: ${kind} = ${kind}(${values[name]});`;
    })
    .join('\n');
}

function writeIfChanged(file, text) {
  // Left alone when nothing changed, so that its time does not make the build look old.
  let written;
  try {
    written = readFileSync(file, 'utf8');
  } catch {}
  if (written !== text) writeFileSync(file, text);
}

if (process.argv[1] === fileURLToPath(import.meta.url)) {
  if (process.argv.includes('--constants')) {
    const dist = at('../../dist/');
    const out = join(dist, 'gpu', 'wgsl');
    mkdirSync(out, { recursive: true });
    for (const file of readdirSync(at('wgsl/')).filter((name) => name.endsWith('.wgsl')))
      writeIfChanged(join(out, file), readFileSync(at(`wgsl/${file}`), 'utf8'));
    writeIfChanged(join(out, 'constants.wgsl'), `${wgslConstants(await readValues(dist))}\n`);
  } else {
    writeIfChanged(at('kernel-parameters.ts'), parametersText());
  }
}

// Two steps of the build for the kernels in wgsl/, so that the compiler checks what a kernel is called with, and so that
// TypeScript and both kinds of kernels read the same constants:
//   node src/gpu/generate-programs.js             before TypeScript: writes kernel-parameters.ts from the declarations
//   node src/gpu/generate-programs.js --constants after it: writes dist/gpu/wgsl, each kernel with what it uses of the
//                                                 constants and of the shared files
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
// A binding that Call has no Set for is a table: a buffer that is bound as a whole.
import { mkdirSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { readConstants, readValues } from '../kernels/generate-constants.js';
import { writeIfChanged } from '../kernels/write-if-changed.js';

const at = (path) => fileURLToPath(new URL(path, import.meta.url));
/** Files of what kernels share: functions, structures and constants. */
const shared = ['common.wgsl', 'resample.wgsl'];
const numberTypes = ['i32', 'u32', 'f32', 'vec2f', 'vec4f', 'Affine'];

function kernelFiles() {
  return readdirSync(at('wgsl/'))
    .filter((file) => file.endsWith('.wgsl') && !shared.includes(file))
    .sort();
}

const readKernel = (file) => readFileSync(at(`wgsl/${file}`), 'utf8');
/** Where a declaration starts, with its name. */
const declaration = /^(?:fn|struct|const) (\w+)/gm;
const withoutComments = (text) => text.replaceAll(/\/\*[\s\S]*?\*\/|\/\/.*/g, '');

/** Sets and tables (by binding, from 1), and numbers of each kernel. Throws for a declaration of another form. */
export function readDeclarations() {
  return Object.fromEntries(
    kernelFiles().map((file) => {
      const text = withoutComments(readKernel(file));
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

/** The constants of kernels for these values. */
export function wgslConstants(values) {
  return readConstants()
    .filter(({ type }) => type !== '' && type !== 'int')
    .map(({ name, type }) => {
      const kind = type === 'f32' ? 'f32' : 'i32';
      return `const ${name}: ${kind} = ${kind}(${values[name]});`;
    })
    .join('\n');
}

/**
 * A kernel, and behind it those of the shared declarations that it uses, so that lines of the compiler's messages are those
 * of its file. All of them would take the compiler three times as long.
 */
export function kernelText(own, declarations) {
  // A name of its own is not one of those.
  const used = new Set([...own.matchAll(declaration)].map(([, name]) => name));
  const use = (text) => {
    for (const [name] of text.matchAll(/[A-Za-z_]\w*/g)) {
      if (used.has(name) || !declarations.has(name)) continue;
      used.add(name);
      use(declarations.get(name));
    }
  };
  const isOwn = new Set(used);
  use(withoutComments(own));
  const needed = [...declarations].filter(([name]) => used.has(name) && !isOwn.has(name));
  return [own, ...needed.map(([, text]) => text)].join('\n');
}

/** Declarations of a text, each from its start to the next one, by their names; without comments. */
export function declarationsOf(text) {
  const bare = withoutComments(text);
  const starts = [...bare.matchAll(declaration)];
  return new Map(
    starts.map(({ 1: name, index }, i) => [name, `${bare.slice(index, starts[i + 1]?.index).trim()}\n`]),
  );
}

if (process.argv[1] === fileURLToPath(import.meta.url)) {
  if (process.argv.includes('--constants')) {
    const dist = at('../../dist/');
    const out = join(dist, 'gpu', 'wgsl');
    mkdirSync(out, { recursive: true });
    const files = kernelFiles();
    for (const file of readdirSync(out)) if (!files.includes(file)) rmSync(join(out, file));
    const constants = wgslConstants(await readValues(dist));
    const declarations = declarationsOf([...shared.map(readKernel), constants].join('\n'));
    for (const file of files) writeIfChanged(join(out, file), kernelText(readKernel(file), declarations));
  } else {
    writeIfChanged(at('kernel-parameters.ts'), parametersText());
  }
}

// A step of the build, after TypeScript is compiled: joins the modules of dist that a process or a thread starts with, in
// dist/bundles. A merge opens some 400 files otherwise, which takes a core longer than decoding a frame of 24 megapixels.
//
// Of a process, what it loads at its start and what it loads later share their modules, so that each class exists once; a
// thread gets one file. Packages are not taken in.
import { readFile, rm } from 'node:fs/promises';
import { join, relative } from 'node:path';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import { build } from 'esbuild';

const { compiled } = parseArgs({
  options: { compiled: { type: 'string', default: fileURLToPath(new URL('../dist', import.meta.url)) } },
}).values;
const bundles = join(compiled, 'bundles');

/** What starts a process each; its modules are shared by what it loads later. */
const processes = ['index.js', 'cli/main.js', 'batch/stack-child.js'];
const threads = [
  'merge/frame-worker.js',
  'merge/gpu-worker.js',
  'rail/reading-task-worker.js',
  'rail/reading-worker.js',
  'register/motion-worker.js',
  'result/writing-worker.js',
  'workers/worker.js',
];

/** A module finds files from where it was compiled to: all bundles lie in one folder, so the way there is known. */
const ownPlaces = {
  name: 'own-places',
  setup({ onLoad }) {
    onLoad({ filter: /\.js$/ }, async ({ path }) => {
      const text = await readFile(path, 'utf8');
      const place = relative(bundles, path).replaceAll('\\', '/');
      const own = `new URL(${JSON.stringify(place)}, import.meta.url).href`;
      return { contents: text.replaceAll('import.meta.url', own), loader: 'js' };
    });
  },
};

const common = {
  bundle: true,
  packages: 'external',
  platform: 'node',
  target: 'node20',
  format: 'esm',
  outdir: bundles,
  entryNames: '[name]',
  logLevel: 'warning',
  plugins: [ownPlaces],
  // For the stack of a defect (cli/compiled-stack.ts); the modules that it leads to are in dist.
  sourcemap: 'linked',
  sourcesContent: false,
};

await rm(bundles, { recursive: true, force: true });
// One after the other: together they would be cut wherever one of them needs a part of what another needs.
for (const name of [...processes, ...threads]) {
  await build({ ...common, entryPoints: [join(compiled, name)], splitting: processes.includes(name) });
}

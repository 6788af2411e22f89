// A step of the build: puts the modules of lit-html that the page uses beside its scripts, so that it needs no network
// and no bundler. Their first lines hold the licence (BSD-3-Clause).
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

const root = fileURLToPath(new URL('../..', import.meta.url));
const names = [
  'lit-html.js',
  'directive.js',
  'directive-helpers.js',
  'directives/live.js',
  'directives/repeat.js',
  'directives/unsafe-html.js',
];
for (const name of names) {
  const to = join(root, 'dist/desk/lit', name);
  mkdirSync(dirname(to), { recursive: true });
  const text = readFileSync(join(root, 'node_modules/lit-html', name), 'utf8');
  writeFileSync(to, text.replace(/\n\/\/# sourceMappingURL=.*\n?$/, '\n'));
}

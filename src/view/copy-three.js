// A step of the build: puts three's modules beside the page's scripts, so that the page needs no network and no bundler.
// Their first lines hold the licence (MIT).
import { copyFileSync, mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';

const root = fileURLToPath(new URL('../..', import.meta.url));
const to = join(root, 'dist/view/three');
mkdirSync(to, { recursive: true });
for (const name of ['three.module.js', 'three.core.js']) {
  copyFileSync(join(root, 'node_modules/three/build', name), join(to, name));
}

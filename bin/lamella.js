#!/usr/bin/env node
import { existsSync } from 'node:fs';

const main = new URL('../dist/cli/main.js', import.meta.url);

if (existsSync(main)) {
  await (await import(main.href)).main();
} else {
  process.stderr.write('lamella: not built yet: run "npm run build" in the folder of Lamella first.\n');
  process.exitCode = 1;
}

#!/usr/bin/env node
import { existsSync } from 'node:fs';

const cli = new URL('../dist/cli/', import.meta.url);

if (existsSync(cli)) {
  await (await import(new URL('reuse-memory.js', cli).href)).reuseMemory(process.argv[2]);
  await (await import(new URL('main.js', cli).href)).main();
} else {
  process.stderr.write('lamella: not built yet: run "npm run build" in the folder of Lamella first.\n');
  process.exitCode = 1;
}

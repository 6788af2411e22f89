#!/usr/bin/env node
import { existsSync } from 'node:fs';

const dist = new URL('../dist/', import.meta.url);

if (existsSync(new URL('bundles', dist))) {
  try {
    await (await import(new URL('cli/reuse-memory.js', dist).href)).reuseMemory(process.argv[2]);
    await (await import(new URL('bundles/main.js', dist).href)).main();
  } catch (error) {
    // The program's own files cannot be opened: what names every other cause is not there yet.
    if (error.code !== 'EMFILE' && error.code !== 'ENFILE') throw error;
    process.stderr.write('lamella: Too many files are open at once: allow more with "ulimit -n 1024".\n');
    process.exitCode = 5;
  }
} else {
  process.stderr.write('lamella: not built yet: run "npm run build" in the folder of Lamella first.\n');
  process.exitCode = 1;
}

import { readFileSync } from 'node:fs';
import { dirname, join, relative } from 'node:path';
import { fileURLToPath } from 'node:url';
import { expect, it } from 'vitest';

const source = fileURLToPath(new URL('../../src', import.meta.url));

/** What a module imports when it runs, and all that those import: files of src, and the names of anything else. */
function follow(file: string, found = { files: new Set<string>(), others: new Set<string>() }) {
  const name = relative(source, file);
  if (found.files.has(name)) return found;
  found.files.add(name);
  const text = readFileSync(file, 'utf8');
  for (const [, what, target] of text.matchAll(/^import ([^;]*?) ?from '([^']+)'/gms)) {
    if (/^type\b/.test(what)) continue;
    if (!target.startsWith('.')) found.others.add(`${name}: ${target}`);
    else follow(join(dirname(file), target.replace(/\.js$/, '.ts')), found);
  }
  return found;
}

it.each([
  'plan/plan.ts',
  'plan/plan-text.ts',
  'plan/sheet.ts',
  'plan/slab-drawing.ts',
  'plan/aperture-drawing.ts',
  'check/page-parts.ts',
  'check/check-text.ts',
])('%s needs neither Node nor a library, so that a page runs it as it is', (name) => {
  const { files, others } = follow(join(source, name));
  expect([...others]).toEqual([]);
  expect(files.size).toBeGreaterThan(1);
});

import { readdirSync, readFileSync } from 'node:fs';
import { dirname, join, relative, sep } from 'node:path';
import { fileURLToPath } from 'node:url';
import { expect, it } from 'vitest';

const source = fileURLToPath(new URL('../src', import.meta.url));

/** Folders of src in the order in which data flow: each imports from those before it alone. */
const flow = [
  ...['image', 'model', 'kernels', 'optics', 'workers', 'stack', 'options', 'markup', 'plan'],
  ...['register', 'rail', 'focus', 'surface', 'blend', 'gpu', 'result', 'check', 'watch', 'merge'],
  ...['trace', 'mend', 'export', 'relief', 'measure', 'view', 'batch', 'guide', 'desk', 'cli'],
];

/** Imports against the flow, 'from -> to' by folder. Files that lie in src itself serve all. */
function againstTheFlow(): string[] {
  const found = new Set<string>();
  for (const name of readdirSync(source, { recursive: true, encoding: 'utf8' })) {
    const path = name.split(sep);
    const isPage = path[1] === 'page' && ['view', 'desk'].includes(path[0]);
    if (!name.endsWith('.ts') || path.length < 2 || path.includes('assembly') || isPage) continue;
    const text = readFileSync(join(source, name), 'utf8');
    for (const [, target] of text.matchAll(/(?:from|import\() ?'(\.[^']+)'/g)) {
      const [to, ...rest] = relative(source, join(dirname(join(source, name)), target)).split(sep);
      if (rest.length === 0 || to === '..') continue;
      const [here, there] = [flow.indexOf(path[0]), flow.indexOf(to)];
      expect(here, `${path[0]} has no place in the flow`).toBeGreaterThanOrEqual(0);
      expect(there, `${to}, which ${name} imports, has no place in the flow`).toBeGreaterThanOrEqual(0);
      if (there > here) found.add(`${path[0]} -> ${to}`);
    }
  }
  return [...found].sort();
}

it('no folder imports from one that comes after it', () => {
  expect(againstTheFlow()).toEqual([]);
});

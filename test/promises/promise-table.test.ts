import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { promiseTable } from './promise-table.js';

/** A test file as it stands, with the quotes of its titles as they read. */
function sourceOf(file: string): string {
  return readFileSync(new URL(`../${file}`, import.meta.url), 'utf8').replaceAll("\\'", "'");
}

describe('every promise is proved by tests that there are:', () => {
  for (const { promise, proofs } of promiseTable) {
    if (proofs.length === 0) {
      it.todo(promise);
      continue;
    }
    it(promise, () => {
      for (const { file, title } of proofs) {
        const source = sourceOf(file);
        const stands = ["'", '"', '`'].some((quote) => source.includes(`${quote}${title}${quote},`));
        expect(stands, `${file} has no test "${title}"`).toBe(true);
      }
    });
  }
});

it('no promise and no proof stands in the table twice', () => {
  const promises = promiseTable.map(({ promise }) => promise);
  expect(new Set(promises).size).toBe(promises.length);
  const proofs = promiseTable.flatMap((row) =>
    row.proofs.map(({ file, title }) => `${row.promise} ${file} ${title}`),
  );
  expect(new Set(proofs).size).toBe(proofs.length);
});

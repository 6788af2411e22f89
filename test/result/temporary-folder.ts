import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach } from 'vitest';

const made: string[] = [];

afterEach(() => {
  for (const folder of made.splice(0)) rmSync(folder, { recursive: true, force: true });
});

/** A folder of its own for one test, removed after it. */
export function temporaryFolder(): string {
  const folder = mkdtempSync(join(tmpdir(), 'lamella-result-'));
  made.push(folder);
  return folder;
}

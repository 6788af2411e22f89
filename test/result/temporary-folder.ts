import { mkdtempSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { removeAfter } from '../temporary-folders.js';

/** A folder of its own for one test, removed after it. */
export function temporaryFolder(): string {
  const folder = mkdtempSync(join(tmpdir(), 'lamella-result-'));
  removeAfter('test', folder);
  return folder;
}

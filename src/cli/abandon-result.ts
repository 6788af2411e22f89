import { existsSync, readdirSync, realpathSync, renameSync, rmSync } from 'node:fs';
import { basename, dirname, join, resolve } from 'node:path';
import { type UnfinishedKind, unfinishedPath } from '../result/unfinished.js';

/**
 * Clear away what this process has written towards the result `out`, and put a former result back that
 * was just being replaced. Synchronous, for the moment before the process ends without waiting for the
 * merge. Never throws: what is left is tidied up by the next merge.
 */
export function abandonResult(out: string): void {
  try {
    const target = existsSync(out) ? realpathSync(out) : resolve(out);
    for (const old of ownUnfinished(target, 'old')) {
      if (!existsSync(target)) renameSync(old, target);
    }
    for (const path of [...ownUnfinished(target, 'partial'), ...ownUnfinished(target, 'old')]) {
      rmSync(path, { recursive: true, force: true, maxRetries: 2 });
    }
  } catch {
    // The exit code says that the run was interrupted; there is nobody left to act on this.
  }
}

function ownUnfinished(target: string, kind: UnfinishedKind): string[] {
  // Names end in random characters; what stands before them is the same for this result and process.
  const prefix = basename(unfinishedPath(target, kind)).replace(/[^-]+$/, '');
  const parent = dirname(target);
  return readdirSync(parent)
    .filter((name) => name.startsWith(prefix))
    .map((name) => join(parent, name));
}

import { basename, dirname, join, resolve } from 'node:path';

/** A file beside a result, of its name with an ending. */
export function besideResult(folder: string, ending: string): string {
  const result = resolve(folder);
  return join(dirname(result), `${basename(result)}${ending}`);
}

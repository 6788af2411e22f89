import { relative, resolve, sep } from 'node:path';

/** Whether an absolute path is a folder or lies in it, by the two texts alone. */
export function isWithin(path: string, folder: string): boolean {
  const steps = relative(folder, path);
  return steps === '' || (steps !== '..' && !steps.startsWith(`..${sep}`) && resolve(folder, steps) === path);
}

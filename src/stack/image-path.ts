import { open } from 'node:fs/promises';
import { InputError } from '../errors.js';

/**
 * Calls `use` with a path under which the image library opens this very file. It takes brackets at the end of a name for
 * options of its loader, so that `a.jpg[page=3]` would be page 3 of `a.jpg`: such a file is opened here and handed over
 * by its descriptor.
 *
 * @param use May append options in brackets to the path; done with it when it settles.
 * @throws InputError for such a name on a system that has no paths of descriptors; what `use` throws.
 */
export async function withImagePath<Result>(
  path: string,
  use: (path: string) => Promise<Result>,
): Promise<Result> {
  if (!path.endsWith(']')) return use(path);
  if (process.platform !== 'linux') {
    throw new InputError(`"${path}" ends in a bracket, as options of the image library do: rename the file.`);
  }
  const handle = await open(path, 'r');
  try {
    return await use(`/proc/self/fd/${handle.fd}`);
  } finally {
    await handle.close();
  }
}

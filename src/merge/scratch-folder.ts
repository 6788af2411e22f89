import { mkdir } from 'node:fs/promises';
import { join } from 'node:path';
import { named, OutputError } from '../errors.js';
import { tidyUnfinished, unfinishedPath } from '../result/unfinished.js';

/** What the folders of frames are called, before the marks of the process that fills them. */
const scratchName = 'lamella-frames';

/**
 * A new folder below `scratch` for frames that are read several times; nobody else can look into it. Those that killed
 * processes left go.
 *
 * @throws OutputError when it cannot be made.
 */
export async function makeScratch(scratch: string): Promise<string> {
  await tidyUnfinished(scratch, scratchName);
  const folder = unfinishedPath(join(scratch, scratchName), 'partial');
  try {
    await mkdir(folder, { mode: 0o700 });
    return folder;
  } catch (error) {
    const why = error instanceof Error ? error.message : String(error);
    throw new OutputError(
      `The frames cannot be kept in ${scratch} while they are merged (${why}): give another ${named('scratch')}.`,
      { cause: error },
    );
  }
}

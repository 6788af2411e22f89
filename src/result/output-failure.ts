import { InterruptedError, LamellaError, named, OutputError } from '../errors.js';

/** What a system error code means to somebody who waits for a picture, and what to do about it. */
const meanings: Record<string, string> = {
  ENOSPC: `the disk is full. Free some space or choose another place with ${named('out')}`,
  EDQUOT: `your disk quota is used up. Free some space or choose another place with ${named('out')}`,
  EACCES: `you have no permission to write there. Change the permission or choose another place with ${named('out')}`,
  EPERM: `the system does not allow writing there. Choose another place with ${named('out')}`,
  EROFS: `the file system is read-only. Choose another place with ${named('out')}`,
  ENOTDIR: `a part of the path is a file, not a folder. Choose another place with ${named('out')}`,
  ENAMETOOLONG: `the name is too long for the file system. Choose a shorter one with ${named('out')}`,
  EFBIG: `the file system cannot hold a file this large. Choose another place with ${named('out')}`,
  EEXIST: `a part of the path is a file, not a folder. Choose another place with ${named('out')}`,
  ENOTEMPTY: `the folder was filled by somebody else meanwhile. Choose another place with ${named('out')}`,
  ENOENT: 'the folder disappeared meanwhile. Run again',
  EXDEV: `it lies on another file system than its parent folder. Choose another place with ${named('out')}`,
  EBUSY: `it is in use by another program. Close that or choose another place with ${named('out')}`,
  EIO: `the disk reports a hardware error. Choose another place with ${named('out')}`,
  EMFILE: 'too many files are open. Close other programs and run again',
};

/** The system error code of a failed file operation, or undefined. */
export function systemCode(error: unknown): string | undefined {
  const code = error instanceof Error ? (error as NodeJS.ErrnoException).code : undefined;
  return typeof code === 'string' ? code : undefined;
}

/**
 * Turns a failed file operation on `path` into an OutputError with a sentence for the user.
 * Errors of ours pass unchanged, and so does everything without a system code: that is a bug, not a full disk.
 */
export function asOutputError(error: unknown, path: string): unknown {
  if (error instanceof LamellaError) return error;
  const code = systemCode(error);
  if (code === undefined || !/^E[A-Z0-9]+$/.test(code)) return error;
  const meaning =
    meanings[code] ?? `the system refused it (${code}). Choose another place with ${named('out')}`;
  return new OutputError(`Cannot write ${path}: ${meaning}.`, { cause: error });
}

/**
 * The same failure for a file that is not a result: its own name, and its own option instead of `out`.
 *
 * @param options.option Field of the option that names the file.
 */
export function outputElsewhere(
  error: unknown,
  { aside, path, option }: { aside: string; path: string; option: string },
): unknown {
  if (!(error instanceof OutputError)) return error;
  const text = error.messageWith((field) => named(field === 'out' ? option : field));
  return new OutputError(text.replaceAll(aside, path), { cause: error });
}

/** The same failure for a result that is changed where it is: no other place can be chosen for it. */
export function outputInPlace(error: unknown): unknown {
  if (!(error instanceof OutputError)) return error;
  const place = ` with ${named('out')}`;
  const text = error
    .messageWith(named)
    .replace(/(,? or c|\. C)hoose another place(?= with \u{e000}out)/u, '')
    .replace(place, '');
  return new OutputError(text, { cause: error });
}

/** Throws InterruptedError once the run has been stopped. */
export function throwIfStopped(signal: AbortSignal | undefined): void {
  if (signal?.aborted) throw new InterruptedError();
}

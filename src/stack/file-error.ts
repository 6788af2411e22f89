const reasons: Record<string, string> = {
  EACCES: 'permission to read it is denied',
  EPERM: 'permission to read it is denied',
  ENOENT: 'it does not exist or is a broken link',
  ELOOP: 'its link leads back to itself',
  EISDIR: 'it is a folder',
  ENOTDIR: 'it is a file, no folder',
  EIO: 'the disk reports a read error',
  EMFILE: 'too many files are open',
  ENFILE: 'too many files are open',
};

/** Why a file operation failed, as a clause for a message to the user. */
export function fileErrorReason(error: unknown): string {
  const code = errorCode(error);
  // A name that is not UTF-8 was read with replacement characters, under which there is no file.
  if (code === 'ENOENT' && pathOf(error).includes('\ufffd')) return notUtf8;
  return reasons[code] ?? (code === '' ? firstLine(error) : `the system reports ${code}`);
}

const notUtf8 = 'its name is not UTF-8 text: rename it';

function pathOf(error: unknown): string {
  return error instanceof Error && 'path' in error && typeof error.path === 'string' ? error.path : '';
}

/** The system's code of a failed file operation (ENOENT ...), or ''. */
export function errorCode(error: unknown): string {
  return error instanceof Error && 'code' in error && typeof error.code === 'string' ? error.code : '';
}

/** First line of an error's message; the image library repeats itself over several. */
export function firstLine(error: unknown): string {
  const message = error instanceof Error ? error.message : String(error);
  return message.split('\n', 1)[0].trim();
}

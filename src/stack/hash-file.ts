import { createHash } from 'node:crypto';
import { pipeline } from 'node:stream/promises';
import { InputError } from '../errors.js';
import { systemFailureOf } from '../system-failure.js';
import { fileErrorReason } from './file-error.js';
import { openRegularFile } from './regular-file.js';

/** SHA-256 of a file's bytes, in hexadecimal, read as a stream. Throws InputError when it cannot be read. */
export async function hashFile(path: string): Promise<string> {
  const hash = createHash('sha256');
  try {
    const handle = await openRegularFile(path);
    await pipeline(handle.createReadStream({ highWaterMark: 1 << 20 }), hash);
  } catch (error) {
    const failure = systemFailureOf(error);
    if (failure) throw failure;
    throw new InputError(`"${path}" cannot be read: ${fileErrorReason(error)}.`, { cause: error });
  }
  return hash.digest('hex');
}

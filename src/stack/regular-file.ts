import { constants } from 'node:fs';
import { type FileHandle, open, stat } from 'node:fs/promises';

/** Bytes read in one call. */
const chunkBytes = 1 << 20;

/**
 * Opens a regular file that exists. A pipe, a device or a socket under its name is refused instead of waited for: the
 * file is tested before it is opened, opened without blocking, and tested again, as its name may have been given to
 * another file in between.
 *
 * @param flags 'r' to read it, 'r+' to change it in place too.
 * @throws The system's error, or one whose message completes "it cannot be read: ..."; see `fileErrorReason`.
 */
export async function openRegularFile(path: string, flags: 'r' | 'r+' = 'r'): Promise<FileHandle> {
  requireRegular(await stat(path));
  // Windows has no such flag.
  const access = flags === 'r' ? constants.O_RDONLY : constants.O_RDWR;
  const handle = await open(path, access | (constants.O_NONBLOCK ?? 0));
  try {
    requireRegular(await handle.stat());
    return handle;
  } catch (error) {
    await handle.close();
    throw error;
  }
}

/** Refuses anything but a regular file, for readers that open it by its name. Throws as `openRegularFile`. */
export async function requireRegularFile(path: string): Promise<void> {
  requireRegular(await stat(path));
}

/**
 * Reads a small file as UTF-8 text, with no more memory than `maxBytes` whatever its content. The bound also applies to
 * a file that grows while it is read, or whose size the system does not know.
 *
 * @param maxBytes A larger file is refused.
 * @throws As `openRegularFile`.
 */
export async function readBoundedText(path: string, maxBytes: number): Promise<string> {
  const handle = await openRegularFile(path);
  try {
    const { size } = await handle.stat();
    if (size > maxBytes) throw tooLarge(maxBytes);
    const pieces: Buffer[] = [];
    let length = 0;
    for (;;) {
      const piece = Buffer.allocUnsafe(Math.min(chunkBytes, maxBytes + 1 - length));
      const { bytesRead } = await handle.read(piece, 0, piece.length, null);
      if (bytesRead === 0) return Buffer.concat(pieces).toString('utf8');
      length += bytesRead;
      if (length > maxBytes) throw tooLarge(maxBytes);
      pieces.push(piece.subarray(0, bytesRead));
    }
  } finally {
    await handle.close();
  }
}

/**
 * Fills `bytes` with what an open file holds from `position` on.
 *
 * @returns How many bytes were read: fewer than there is room for where the file ends before.
 */
export async function fillFrom(handle: FileHandle, position: number, bytes: Uint8Array): Promise<number> {
  let filled = 0;
  while (filled < bytes.length) {
    const { bytesRead } = await handle.read(bytes, filled, bytes.length - filled, position + filled);
    if (bytesRead === 0) break;
    filled += bytesRead;
  }
  return filled;
}

type Looked = Awaited<ReturnType<typeof stat>>;

function requireRegular(found: Looked): void {
  if (found.isFile()) return;
  throw new Error(`it is ${kindWords(found)}, not a file`);
}

function kindWords(found: Looked): string {
  if (found.isDirectory()) return 'a folder';
  if (found.isFIFO()) return 'a named pipe';
  if (found.isSocket()) return 'a socket';
  return found.isBlockDevice() || found.isCharacterDevice() ? 'a device' : 'something else';
}

function tooLarge(maxBytes: number): Error {
  return new Error(`it is larger than ${maxBytes / 1e6} MB`);
}

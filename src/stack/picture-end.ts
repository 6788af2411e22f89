import type { FileHandle } from 'node:fs/promises';
import { openRegularFile } from './regular-file.js';
import { isDirectoryWhole, openTiff } from './tiff-directory.js';

const pngHead = '89504e470d0a1a0a';

/**
 * Whether a picture file is complete to the end that its format requires. A PNG or TIFF that lost its last bytes may
 * still decode in full, as only what follows the pixels is gone. True for other formats: a decoder reports a truncated
 * JPEG. Bytes behind the end do not matter.
 *
 * @throws As `openRegularFile`.
 */
export async function hasPictureEnd(path: string): Promise<boolean> {
  const handle = await openRegularFile(path);
  try {
    const head = await readAt(handle, 0, 8);
    if (head.toString('hex') === pngHead) return await hasPngEnd(handle);
    const tiff = await openTiff(handle);
    return tiff === undefined || (await isDirectoryWhole(tiff, tiff.firstDirectory));
  } finally {
    await handle.close();
  }
}

/** PNG (ISO/IEC 15948), clause 5.3: chunks of length, type, data and check sum, the last of type IEND and without data. */
async function hasPngEnd(handle: FileHandle): Promise<boolean> {
  for (let at = 8; ; ) {
    const chunk = await readAt(handle, at, 12);
    if (chunk.length < 12) return false;
    if (chunk.toString('latin1', 4, 8) === 'IEND') return true;
    at += 12 + chunk.readUInt32BE(0);
  }
}

async function readAt(handle: FileHandle, position: number, length: number): Promise<Buffer> {
  const { buffer, bytesRead } = await handle.read(Buffer.alloc(length), 0, length, position);
  return buffer.subarray(0, bytesRead);
}

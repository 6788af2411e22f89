import { readdir } from 'node:fs/promises';
import { extname, join } from 'node:path';
import { hasPictureEnding, hasRawEnding, isLeftover, kindOfContent } from './file-kind.js';
import { openRegularFile } from './regular-file.js';
import { openTiff, readDirectory } from './tiff-directory.js';

/** Minimum number of photographs that make a folder a stack. */
export const minStackFrames = 3;

/** Bytes from the start of a file, in which a JPEG or PNG of Lamella names its program. */
const headBytes = 8192;
const ourName = 'Lamella ';
/** Tag of the program that wrote a TIFF (TIFF 6.0, section 8). */
const softwareTag = 305;

/**
 * Whether a folder holds the photographs of a stack: at least `minStackFrames` pictures or camera raw files that are
 * not Lamella's own composites or contact sheets. Only as many files are opened as needed, and of each only its start.
 * False for a folder that cannot be listed.
 */
export async function holdsPhotographs(folder: string): Promise<boolean> {
  const entries = await readdir(folder, { withFileTypes: true }).catch(() => []);
  let photographs = 0;
  for (const entry of entries) {
    const { name } = entry;
    if (entry.isDirectory() || name.startsWith('.') || isLeftover(name) || !mayBeFrame(name)) continue;
    if (await isPhotograph(join(folder, name))) photographs++;
    if (photographs === minStackFrames) return true;
  }
  return false;
}

/** Cameras and copying programs also write frames without a file extension. */
function mayBeFrame(name: string): boolean {
  return hasPictureEnding(name) || hasRawEnding(name) || extname(name) === '';
}

/** Whether a WebP moves, by the flags of its extended header (WebP container specification). */
function isAnimation(head: Buffer): boolean {
  return head.toString('latin1', 12, 16) === 'VP8X' && (head[20] & 2) !== 0;
}

/** False for what cannot be read. */
async function isPhotograph(path: string): Promise<boolean> {
  try {
    const handle = await openRegularFile(path);
    try {
      const { buffer, bytesRead } = await handle.read(Buffer.alloc(headBytes), 0, headBytes, 0);
      const head = buffer.subarray(0, bytesRead);
      const content = kindOfContent(head);
      if (content.kind === 'raw' || hasRawEnding(path)) return true;
      if (content.kind !== 'picture') return false;
      if (content.format === 'webp' && isAnimation(head)) return false;
      if (content.format !== 'tiff') return !head.includes(ourName);
      const tiff = await openTiff(handle);
      const fields = tiff ? await readDirectory(tiff, tiff.firstDirectory) : [];
      return !fields.find(({ tag }) => tag === softwareTag)?.data.includes(ourName);
    } finally {
      await handle.close();
    }
  } catch {
    return false;
  }
}

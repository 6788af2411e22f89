import { type FileHandle, open, rename, unlink } from 'node:fs/promises';
import { basename } from 'node:path';
import { clockMs, publishSpan } from '../workers/spans.js';
import { asOutputError, outputElsewhere, throwIfStopped } from './output-failure.js';
import { unfinishedPath } from './unfinished.js';

/** Bytes given to the system in one call: small enough that a stop is noticed within a fraction of a second. */
const bytesPerWrite = 8 * 1024 * 1024;

/** A file being written from its start, of any size. */
export interface OutputFile {
  /** Bytes appended so far: the offset at which the next append lands. */
  readonly position: number;
  /** Appends all bytes. The view may lie on a SharedArrayBuffer; no copy is made. */
  append(bytes: ArrayBufferView): Promise<void>;
  /** Overwrites bytes that were appended before, at an absolute offset. */
  patch(bytes: Uint8Array, offset: number): Promise<void>;
}

/** What bytes are appended to: a file, an entry of an archive, or memory. */
export type ByteTarget = Pick<OutputFile, 'append'>;

/** A target in memory; what is appended is not copied and must stay as it is. */
export function memoryTarget(): ByteTarget & { bytes(): Buffer } {
  const pieces: Buffer[] = [];
  return {
    async append({ buffer, byteOffset, byteLength }) {
      pieces.push(Buffer.from(buffer as ArrayBuffer, byteOffset, byteLength));
    },
    bytes: () => Buffer.concat(pieces),
  };
}

/**
 * Writes one file and waits until the disk holds it. On any failure the file is removed.
 *
 * @param path Where; an existing file is replaced in place, so it should lie in a folder nobody reads yet.
 * @param body Appends the content.
 * @param signal Stops the writing between two calls to the system.
 * @throws OutputError in words of the user; InterruptedError when stopped.
 */
export async function writeOutputFile(
  path: string,
  body: (file: OutputFile) => Promise<void>,
  signal?: AbortSignal,
): Promise<void> {
  let handle: FileHandle | undefined;
  const fromMs = clockMs();
  try {
    handle = await open(path, 'w');
    await body(outputFileOn(handle, signal));
    await syncData(handle);
    await handle.close();
    publishSpan({ kind: 'write', name: basename(path), fromMs, toMs: clockMs() });
  } catch (error) {
    await handle?.close().catch(() => undefined);
    if (handle) await unlink(path).catch(() => undefined);
    throw asOutputError(error, path);
  }
}

/**
 * Writes a small file beside its final name and renames it, so that a reader sees all of it or nothing. The name aside is
 * one that nobody else has, and what a killed run leaves under it is tidied up.
 *
 * @param option That names the path, for the advice to choose another.
 */
export async function writeAside(
  path: string,
  text: string,
  signal?: AbortSignal,
  option = 'out',
): Promise<void> {
  await writeFileAside(path, (file) => file.append(Buffer.from(text, 'utf8')), { signal, option });
}

/**
 * As `writeAside`, of any size.
 *
 * @param body Appends the content.
 * @param options.check Called once more before the file gets its final name, which may have been taken meanwhile.
 */
export async function writeFileAside(
  path: string,
  body: (file: OutputFile) => Promise<void>,
  options: { option: string; check?: () => Promise<void>; signal?: AbortSignal | undefined },
): Promise<void> {
  const aside = unfinishedPath(path, 'partial');
  const { option, check, signal } = options;
  try {
    await writeOutputFile(aside, body, signal);
  } catch (error) {
    throw outputElsewhere(error, { aside, path, option });
  }
  try {
    await check?.();
    await rename(aside, path);
  } catch (error) {
    await unlink(aside).catch(() => undefined);
    throw outputElsewhere(asOutputError(error, path), { aside, path, option });
  }
}

function outputFileOn(handle: FileHandle, signal: AbortSignal | undefined): OutputFile {
  let position = 0;
  const writeAt = async (bytes: ArrayBufferView, offset: number): Promise<void> => {
    const all = Buffer.from(bytes.buffer as ArrayBuffer, bytes.byteOffset, bytes.byteLength);
    let done = 0;
    while (done < all.length) {
      throwIfStopped(signal);
      const length = Math.min(bytesPerWrite, all.length - done);
      const { bytesWritten } = await handle.write(all, done, length, offset + done);
      done += bytesWritten;
    }
  };
  return {
    get position() {
      return position;
    },
    async append(bytes) {
      const offset = position;
      position += bytes.byteLength;
      await writeAt(bytes, offset);
    },
    patch: writeAt,
  };
}

/** Devices and some network file systems cannot flush and say EINVAL or ENOTSUP: nothing is lost by going on. */
async function syncData(handle: FileHandle): Promise<void> {
  try {
    await handle.sync();
  } catch (error) {
    const code = (error as NodeJS.ErrnoException).code;
    if (code !== 'EINVAL' && code !== 'ENOTSUP') throw error;
  }
}

import { type BigIntStats, statSync } from 'node:fs';
import { InputError } from '../errors.js';
import type { FrameFile } from './frame.js';

/** A frame's file is no longer the one that was listed. */
export class ChangedFrameError extends InputError {}

/**
 * Distinguishes a file from another under its name, and from itself with changed content: only the file system sets the
 * time of the last status change, so that a program which restores size and modification time cannot hide a change.
 */
export function fileMarkOf({ ino, size, mtimeNs, ctimeNs }: BigIntStats): string {
  return [ino, size, mtimeNs, ctimeNs].join(' ');
}

/**
 * Refuses frames whose file was exchanged, changed or removed since it was listed. Synchronous, so that nothing can
 * happen between the test and the caller's reaction. Frames without a mark (not listed from a folder) pass.
 *
 * @throws ChangedFrameError
 */
export function refuseChangedFrames(frames: readonly Pick<FrameFile, 'name' | 'path' | 'fileMark'>[]): void {
  const changed = frames.filter(({ path, fileMark }) => {
    if (fileMark === undefined) return false;
    const stats = statSync(path, { bigint: true, throwIfNoEntry: false });
    return !stats || fileMarkOf(stats) !== fileMark;
  });
  if (changed.length === 0) return;
  const [{ name }] = changed;
  const others = changed.length > 1 ? ` and ${changed.length - 1} more` : '';
  throw new ChangedFrameError(
    `${name}${others} changed, or was exchanged or removed, while the stack was read; nothing was written. Run again when nothing writes into the folder.`,
  );
}

import { stat } from 'node:fs/promises';
import { requireUnchanged, type StackFrame } from '../trace/stack-frames.js';

/**
 * Photographs checked to be those that were merged. Each is read through for that once, and again only when its size or
 * time has changed.
 */
export class CheckedFrames {
  private readonly checked = new Map<number, { mark: string; path: Promise<string> }>();

  /** Where a frame's photograph lies. Rejects with InputError when it is missing or has changed since the merge. */
  async path(frame: StackFrame): Promise<string> {
    const mark = await markOf(frame);
    const known = this.checked.get(frame.number);
    if (known?.mark === mark) return known.path;
    const path = requireUnchanged(frame);
    this.checked.set(frame.number, { mark, path });
    return path;
  }
}

async function markOf({ path }: StackFrame): Promise<string> {
  if (path === undefined) return '';
  return stat(path, { bigint: true }).then(
    ({ size, mtimeNs, ino }) => `${size} ${mtimeNs} ${ino}`,
    () => '',
  );
}

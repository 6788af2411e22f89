import { stat } from 'node:fs/promises';
import type { RunRecord } from '../result/run-record.js';
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

  /**
   * Numbers of the frames that are there and, as far as can be known without reading them all through, those that were
   * merged: of the recorded size, and not found changed before.
   */
  async usable(frames: readonly StackFrame[], { frames: recorded }: RunRecord): Promise<Set<number>> {
    const bytes = new Map(recorded.map(({ number, sizeBytes }) => [number, sizeBytes]));
    const checked = await Promise.all(
      frames.map(async (frame) => {
        const found = frame.path === undefined ? undefined : await stat(frame.path).catch(() => undefined);
        if (found?.size !== bytes.get(frame.number)) return false;
        const known = this.checked.get(frame.number);
        if (known?.mark !== (await markOf(frame))) return true;
        return known.path.then(
          () => true,
          () => false,
        );
      }),
    );
    return new Set(frames.filter((_, i) => checked[i]).map(({ number }) => number));
  }
}

async function markOf({ path }: StackFrame): Promise<string> {
  if (path === undefined) return '';
  return stat(path, { bigint: true }).then(
    ({ size, mtimeNs, ino }) => `${size} ${mtimeNs} ${ino}`,
    () => '',
  );
}

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
   * Numbers of the frames that are there and are those that were merged. One of the recorded size and time is taken for
   * what it was until it is read; any other is read through before it counts.
   */
  async usable(frames: readonly StackFrame[], { frames: recorded }: RunRecord): Promise<Set<number>> {
    const facts = new Map(recorded.map((frame) => [frame.number, frame]));
    const usable = new Set<number>();
    for (const frame of frames) {
      const merged = facts.get(frame.number);
      const found =
        frame.path === undefined
          ? undefined
          : await stat(frame.path, { bigint: true }).catch(() => undefined);
      if (!found || !merged || Number(found.size) !== merged.sizeBytes) continue;
      const isKnown = this.checked.get(frame.number)?.mark === (await markOf(frame));
      const isSame = !isKnown && Number(found.mtimeNs) / 1e6 === merged.modifiedMs;
      if (isSame || (await isFulfilled(this.path(frame)))) usable.add(frame.number);
    }
    return usable;
  }
}

function isFulfilled(promise: Promise<unknown>): Promise<boolean> {
  return promise.then(
    () => true,
    () => false,
  );
}

async function markOf({ path }: StackFrame): Promise<string> {
  if (path === undefined) return '';
  return stat(path, { bigint: true }).then(
    ({ size, mtimeNs, ino }) => `${size} ${mtimeNs} ${ino}`,
    () => '',
  );
}

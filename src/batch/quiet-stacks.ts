import type { FoundStack } from './found-stack.js';

interface Seen {
  mark: string;
  sinceMs: number;
}

/** Watches stacks come to rest: one is quiet when nothing about its files changed for a while. */
export class QuietStacks {
  private seen = new Map<string, Seen>();

  /** @param settleMs How long nothing may change. */
  constructor(private readonly settleMs: number) {}

  /** The stacks that are quiet, of those found at `nowMs`. To be called with all that are found, again and again. */
  update(found: readonly FoundStack[], nowMs: number): FoundStack[] {
    const now = new Map<string, Seen>();
    const quiet: FoundStack[] = [];
    for (const stack of found) {
      const mark = filesMark(stack);
      const before = this.seen.get(stack.key);
      const sinceMs = before?.mark === mark ? before.sinceMs : nowMs;
      now.set(stack.key, { mark, sinceMs });
      if (nowMs - sinceMs >= this.settleMs) quiet.push(stack);
    }
    this.seen = now;
    return quiet;
  }
}

/** One text for the state of all files of a stack. */
export function filesMark({ files }: Pick<FoundStack, 'files'>): string {
  return files
    .map(({ name, sizeBytes, modifiedMs, changedMs }) => `${name} ${sizeBytes} ${modifiedMs} ${changedMs}`)
    .join('\n');
}

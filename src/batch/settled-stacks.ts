import type { DiscoveredStack } from './discovered-stack.js';

interface Seen {
  mark: string;
  sinceMs: number;
}

/** Watches stacks come to rest: one has settled when nothing about its files changed for a while. */
export class SettledStacks {
  private seen = new Map<string, Seen>();

  /** @param settleMs How long nothing may change. */
  constructor(private readonly settleMs: number) {}

  /** The stacks that have settled, of those found at `nowMs`. To be called with all that are found, again and again. */
  update(found: readonly DiscoveredStack[], nowMs: number): DiscoveredStack[] {
    const now = new Map<string, Seen>();
    const settled: DiscoveredStack[] = [];
    for (const stack of found) {
      const mark = filesMark(stack);
      const before = this.seen.get(stack.key);
      const sinceMs = before?.mark === mark ? before.sinceMs : nowMs;
      now.set(stack.key, { mark, sinceMs });
      if (nowMs - sinceMs >= this.settleMs) settled.push(stack);
    }
    this.seen = now;
    return settled;
  }
}

/** One text for the state of all files of a stack. */
export function filesMark({ files }: Pick<DiscoveredStack, 'files'>): string {
  return files
    .map(({ name, sizeBytes, modifiedMs, changedMs }) => `${name} ${sizeBytes} ${modifiedMs} ${changedMs}`)
    .join('\n');
}

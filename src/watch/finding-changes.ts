import type { Finding } from '../result/finding.js';
import type { WatchEvent } from './watch-events.js';

/** Follows the findings of a stack from one judgement to the next. */
export class FindingChanges {
  private known = new Map<string, Finding>();

  /** Events for what is new, concerns further frames, or is no longer so. */
  next(findings: readonly Finding[]): WatchEvent[] {
    const now = keyed(findings);
    const events: WatchEvent[] = [];
    for (const [key, finding] of this.known) {
      if (!now.has(key)) events.push({ event: 'cleared', kind: finding.kind, message: finding.message });
    }
    for (const [key, finding] of now) {
      const before = this.known.get(key);
      const isFurther =
        before !== undefined &&
        (finding.rank !== before.rank || finding.frames.some((frame) => !before.frames.includes(frame)));
      if (!before || isFurther) events.push({ event: 'finding', finding, isNew: !before });
    }
    this.known = now;
    return events;
  }
}

/** Findings by their kind; where there are several of one, such as files that are left out, by what they are about. */
function keyed(findings: readonly Finding[]): Map<string, Finding> {
  const several = new Set(
    findings
      .filter(({ kind }, i) => findings.findIndex((other) => other.kind === kind) !== i)
      .map(({ kind }) => kind),
  );
  return new Map(
    findings.map((finding) => {
      const { kind, frames, message } = finding;
      const own = frames.length > 0 ? `${frames[0]}` : message;
      return [kind === 'left-out' || several.has(kind) ? `${kind} ${own}` : kind, finding];
    }),
  );
}

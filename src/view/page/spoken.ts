/** Rest of the pointer, ms, before a position is worth announcing. */
const restMs = 600;
/** Minimum time between two texts, ms: about what a screen reader needs to speak one. */
const betweenMs = 2500;

/**
 * Announces a text that changes all the time to a screen reader: only what stays for a while, and not more often than
 * it can be spoken. The last text is always announced.
 */
export class Spoken {
  private wanted = '';
  private announced = '';
  private announcedAtMs = Number.NEGATIVE_INFINITY;
  private timer: ReturnType<typeof setTimeout> | undefined;

  constructor(
    private readonly announce: (text: string) => void,
    private readonly nowMs: () => number = () => performance.now(),
  ) {}

  say(text: string): void {
    if (text === this.wanted) return;
    this.wanted = text;
    clearTimeout(this.timer);
    const waitMs = Math.max(restMs, this.announcedAtMs + betweenMs - this.nowMs());
    this.timer = setTimeout(() => {
      if (this.wanted === this.announced) return;
      this.announced = this.wanted;
      this.announcedAtMs = this.nowMs();
      this.announce(this.announced);
    }, waitMs);
  }
}

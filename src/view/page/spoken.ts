/** Rest of the pointer, ms, before a place is worth telling. */
const restMs = 600;
/** Least time between two texts, ms: a screen reader says one of them in about so long. */
const betweenMs = 2500;

/**
 * Tells a text that changes all the time to those who listen: only what stays for a while, and not more often than it
 * can be said. The last text is always told.
 */
export class Spoken {
  private wanted = '';
  private told = '';
  private toldAtMs = Number.NEGATIVE_INFINITY;
  private timer: ReturnType<typeof setTimeout> | undefined;

  constructor(
    private readonly tell: (text: string) => void,
    private readonly nowMs: () => number = () => performance.now(),
  ) {}

  say(text: string): void {
    if (text === this.wanted) return;
    this.wanted = text;
    clearTimeout(this.timer);
    const waitMs = Math.max(restMs, this.toldAtMs + betweenMs - this.nowMs());
    this.timer = setTimeout(() => {
      if (this.wanted === this.told) return;
      this.told = this.wanted;
      this.toldAtMs = this.nowMs();
      this.tell(this.told);
    }, waitMs);
  }
}

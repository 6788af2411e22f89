import { writeAside } from '../result/output-file.js';
import type { BatchEvent } from './batch-events.js';
import { eventText } from './format-night.js';
import type { NightEvent } from './night-events.js';
import type { NightList } from './night-list.js';
import { logLine } from './night-log.js';
import { nightPage } from './night-page.js';
import { addEvent, type NightState } from './night-state.js';
import { nightTable } from './night-table.js';

/** The page is written at most this often while the batch goes on. */
const pageMs = 20_000;

/** The record of a running batch: list, log, page and table, and those who listen. */
export class Night {
  private pageWrittenMs = Number.NEGATIVE_INFINITY;

  constructor(
    readonly out: string,
    readonly state: NightState,
    private readonly list: NightList,
    private readonly listener: (event: BatchEvent) => void,
    private readonly now: () => Date,
  ) {}

  /** Puts an event on the list, and only then anywhere else. Throws OutputError. */
  async record(event: NightEvent): Promise<void> {
    await this.list.add(event);
    addEvent(this.state, event);
    this.emit(event);
  }

  /** Passes an event that the list need not hold to the listener and the log. */
  emit(event: BatchEvent): void {
    this.listener(event);
    if (event.event === 'whole' && !event.isNews) return;
    const line = eventText(event);
    if (line !== undefined) logLine(this.out, line, this.now());
  }

  /** The moment of an event. */
  at(): string {
    return this.now().toISOString();
  }

  /** Writes page and table, unless they were just written. They are made again from the list at any time. */
  async writePage(always: boolean): Promise<void> {
    const nowMs = this.now().getTime();
    if (!always && nowMs - this.pageWrittenMs < pageMs) return;
    this.pageWrittenMs = nowMs;
    try {
      await writeAside(`${this.out}/index.html`, nightPage(this.state, this.now()));
      await writeAside(`${this.out}/night.csv`, nightTable(this.state));
    } catch (error) {
      const reason = error instanceof Error ? error.message : String(error);
      this.emit({ event: 'notice', message: `The page of the night cannot be written: ${reason}` });
    }
  }

  close(): Promise<void> {
    return this.list.close();
  }
}

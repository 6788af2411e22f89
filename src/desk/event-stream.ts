import type { ServerResponse } from 'node:http';
import type { StreamAnswer } from '../view/local-server.js';

/** A comment this often tells a page that went away from one that is only quiet. */
const aliveMs = 20_000;

/** Server-sent events to every page that is open (WHATWG HTML, 9.2). */
export class EventStream {
  private readonly listeners = new Set<ServerResponse>();

  /**
   * An answer that keeps a page told.
   *
   * @param first What a page is sent before anything else, by topic.
   */
  open(first: () => readonly [topic: string, data: unknown][]): StreamAnswer {
    return {
      type: 'text/event-stream; charset=utf-8',
      begin: (response) => {
        this.listeners.add(response);
        const timer = setInterval(() => response.write(':\n\n'), aliveMs);
        response.once('close', () => {
          clearInterval(timer);
          this.listeners.delete(response);
        });
        // A page whose server was started anew asks again soon.
        response.write('retry: 2000\n\n');
        for (const [topic, data] of first()) response.write(eventText(topic, data));
      },
    };
  }

  send(topic: string, data: unknown): void {
    const text = eventText(topic, data);
    for (const response of this.listeners) response.write(text);
  }
}

/** JSON has no line break of its own, so that an event is one line of data. */
function eventText(topic: string, data: unknown): string {
  return `event: ${topic}\ndata: ${JSON.stringify(data)}\n\n`;
}

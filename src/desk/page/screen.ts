import type { Job } from './jobs.js';

/** What a screen works with. */
export interface ScreenContext {
  /** The values after `?` of its address: `#/merge?folder=…`. */
  query: URLSearchParams;
  /** All jobs, the latest first. */
  jobs(): readonly Job[];
  /** Called whenever a job comes, changes or goes, until the screen is left. */
  onJobs(listener: () => void): void;
  /** Called with events of a topic of the server's stream, until the screen is left. */
  onEvent(topic: string, listener: (data: unknown) => void): void;
  /** Called when the screen is left. */
  atEnd(ending: () => void): void;
}

/** One screen of the desk. */
export interface Screen {
  /** In the bar of screens and as the title of the page. */
  title: string;
  /** Its part of the address: `#/PATH`. */
  path: string;
  /** Topic of the guide that it links to. */
  guide?: string;
  /** Fills its element, which is empty and goes when the screen is left. */
  mount(element: HTMLElement, context: ScreenContext): void;
}

/** The address of a screen, with values for its query; those that are undefined are left out. */
export function screenAddress(path: string, values: Record<string, string | undefined> = {}): string {
  const query = new URLSearchParams();
  for (const [name, value] of Object.entries(values)) if (value !== undefined) query.set(name, value);
  const text = query.toString();
  return `#/${path}${text === '' ? '' : `?${text}`}`;
}

export function goTo(path: string, values: Record<string, string | undefined> = {}): void {
  location.hash = screenAddress(path, values);
}

import { createHash } from 'node:crypto';
import { Viewer } from '../view/viewer.js';

/** Results that are kept open at once: each holds files and some hundred megabytes of memory. */
const maxOpen = 3;

/** The results that pages look at. */
export class OpenResults {
  private readonly folders = new Map<string, string>();
  /** The one asked for last is at the end. */
  private readonly viewers = new Map<string, Promise<Viewer>>();

  /** The name of a result in addresses: the same for the same folder, for as long as the desk lives. */
  nameOf(folder: string): string {
    const name = createHash('sha256').update(folder).digest('hex').slice(0, 16);
    this.folders.set(name, folder);
    return name;
  }

  /** Folders that were asked for, the first one first. */
  known(): string[] {
    return [...this.folders.values()];
  }

  /** The viewer of a result; undefined for a name that was never given. Rejects with InputError when it is no result. */
  async viewer(name: string): Promise<Viewer | undefined> {
    const folder = this.folders.get(name);
    if (folder === undefined) return undefined;
    const viewer = this.viewers.get(name) ?? this.open(name, folder);
    this.viewers.delete(name);
    this.viewers.set(name, viewer);
    for (const [other, old] of this.viewers) {
      if (this.viewers.size <= maxOpen) break;
      this.viewers.delete(other);
      void old.then((opened) => opened.close()).catch(() => undefined);
    }
    return viewer;
  }

  /** Forgets what a result was, before another takes its place. */
  async release(folder: string): Promise<void> {
    const name = this.nameOf(folder);
    const viewer = this.viewers.get(name);
    this.viewers.delete(name);
    await viewer?.then((opened) => opened.close()).catch(() => undefined);
  }

  async close(): Promise<void> {
    const viewers = [...this.viewers.values()];
    this.viewers.clear();
    await Promise.all(
      viewers.map((viewer) => viewer.then((opened) => opened.close()).catch(() => undefined)),
    );
  }

  private open(name: string, folder: string): Promise<Viewer> {
    const missingRemedy = 'Put them back there, then start the desk again.';
    const viewer = Viewer.open(folder, { missingRemedy }).then((opened) => {
      opened.prepare();
      return opened;
    });
    // What cannot be opened now may be there later.
    viewer.catch(() => this.viewers.delete(name));
    return viewer;
  }
}

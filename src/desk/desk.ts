import { rmSync } from 'node:fs';
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { EventStream } from './event-stream.js';
import { JobTable } from './job-table.js';
import { OpenResults } from './open-results.js';
import { Roots } from './roots.js';
import { sampleFolder } from './sample.js';

export interface DeskOptions {
  /** The folder that is shown; absent: home and mounted media. */
  folder?: string | undefined;
}

/** What the routes of all screens share, for as long as the server lives. */
export class Desk {
  readonly events = new EventStream();
  readonly jobs = new JobTable(this.events);
  readonly results = new OpenResults();
  /** The plan that was made last: texts by the names of their fields. */
  plan: Record<string, string> = {};
  private readonly endings: (() => Promise<void> | void)[] = [];

  private constructor(
    readonly roots: Roots,
    /** Hidden folder of the system's temporary files; it goes with the program. */
    readonly scratch: string,
  ) {
    process.once('exit', this.removeScratch);
  }

  /** Throws InputError when the folder cannot be shown. */
  static async open({ folder }: DeskOptions): Promise<Desk> {
    const sample = { name: 'Sample', path: sampleFolder, isHidden: true };
    const roots = await Roots.open(folder === undefined ? [] : [folder], [sample]);
    return new Desk(roots, await mkdtemp(join(tmpdir(), 'lamella-desk-')));
  }

  /** Has something done when the desk closes, such as the end of a watch. */
  atEnd(ending: () => Promise<void> | void): void {
    this.endings.push(ending);
  }

  async close(): Promise<void> {
    for (const ending of this.endings) await ending();
    await this.jobs.close();
    await this.results.close();
    process.off('exit', this.removeScratch);
    await rm(this.scratch, { recursive: true, force: true });
  }

  private readonly removeScratch = () => rmSync(this.scratch, { recursive: true, force: true });
}

import { rmSync } from 'node:fs';
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { EventStream } from './event-stream.js';
import { JobTable } from './job-table.js';
import { keepPlan, type PlanValues, readKeptPlan } from './kept-plan.js';
import { OpenResults } from './open-results.js';
import { Roots, withoutLinks } from './roots.js';
import { type Sample, standardSample } from './sample.js';

export interface DeskOptions {
  /** The folder that is shown; absent: home and mounted media. */
  folder?: string | undefined;
  /** Folder where the plan is kept from one start to the next; absent: it is forgotten with the desk. */
  settings?: string | undefined;
  /** The sample stack; absent: `standardSample`. */
  sample?: Sample | undefined;
}

/** What the routes of all screens share, for as long as the server lives. */
export class Desk {
  readonly events = new EventStream();
  readonly jobs = new JobTable(this.events);
  readonly results = new OpenResults();
  /** What waits to be written. */
  private keeping: Promise<void> = Promise.resolve();
  private readonly endings: (() => Promise<void> | void)[] = [];

  private constructor(
    readonly roots: Roots,
    /** Hidden folder of the system's temporary files; it goes with the program. */
    readonly scratch: string,
    private readonly settings: string | undefined,
    private lastPlan: PlanValues,
    readonly sample: Sample,
  ) {
    process.once('exit', this.removeScratch);
  }

  /** Throws InputError when the folder cannot be shown. */
  static async open({ folder, settings, sample: given = standardSample }: DeskOptions): Promise<Desk> {
    const sample = { ...given, folder: await withoutLinks(given.folder) };
    const hidden = { name: 'Sample', path: sample.folder, isHidden: true };
    const roots = await Roots.open(folder === undefined ? [] : [folder], [hidden]);
    const plan = settings === undefined ? {} : await readKeptPlan(settings);
    return new Desk(roots, await mkdtemp(join(tmpdir(), 'lamella-desk-')), settings, plan, sample);
  }

  /** The plan that was made last. */
  get plan(): PlanValues {
    return this.lastPlan;
  }

  set plan(values: PlanValues) {
    this.lastPlan = values;
    const { settings } = this;
    if (settings === undefined) return;
    // Where it cannot be written it is known until the desk ends: nobody is to be stopped by that.
    this.keeping = this.keeping.then(() => keepPlan(settings, values)).catch(() => {});
  }

  /** Has something done when the desk closes, such as the end of a watch. */
  atEnd(ending: () => Promise<void> | void): void {
    this.endings.push(ending);
  }

  async close(): Promise<void> {
    for (const ending of this.endings) await ending();
    await this.jobs.close();
    await this.results.close();
    await this.keeping;
    process.off('exit', this.removeScratch);
    await rm(this.scratch, { recursive: true, force: true });
  }

  private readonly removeScratch = () => rmSync(this.scratch, { recursive: true, force: true });
}

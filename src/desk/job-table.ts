import type { EventStream } from './event-stream.js';
import type { DeskJob, JobKind, JobState } from './protocol.js';

/** Changes of a job are passed on this often. */
const sendMs = 250;
/** Jobs that have ended and are still listed. */
const endedKept = 50;

/** How a job ended. */
export interface JobEnd {
  state: Extract<JobState, 'done' | 'failed' | 'cancelled'>;
  message?: string;
}

/** What a job's work may change of it. */
export type JobChange = Partial<
  Pick<DeskJob, 'stage' | 'share' | 'leftS' | 'remarks' | 'picture' | 'pictureText' | 'out'>
>;

/** Long work in a process of its own. */
export interface JobRun {
  /** Never rejects. */
  ended: Promise<JobEnd>;
  /** Asks it to end without leaving anything; `ended` resolves then. */
  stop(): void;
}

/** A job that is asked for. */
export interface JobOrder {
  kind: JobKind;
  title: string;
  folder: string;
  out?: string | null;
  /** Jobs of a lane are done one after the other; without one a job begins at once. */
  lane?: string;
  /** Begins the work. `change` tells of its progress. */
  begin(change: (change: JobChange) => void, job: Readonly<DeskJob>): JobRun;
}

interface Entry {
  job: DeskJob;
  order: JobOrder;
  run: JobRun | undefined;
  timer: NodeJS.Timeout | undefined;
}

/** All long work of the desk, in the order in which it was asked for. Pages come and go; this stays. */
export class JobTable {
  private readonly entries = new Map<number, Entry>();
  private lastId = 0;
  private closed = false;

  constructor(private readonly events: EventStream) {}

  /** The jobs, the latest first. */
  list(): DeskJob[] {
    return [...this.entries.values()].map(({ job }) => job).reverse();
  }

  get(id: number): DeskJob | undefined {
    return this.entries.get(id)?.job;
  }

  start(order: JobOrder): DeskJob {
    const job: DeskJob = {
      ...{ id: ++this.lastId, kind: order.kind, title: order.title, folder: order.folder },
      ...{ state: 'waiting', startedAt: null, endedAt: null, stage: 'Waiting', share: 0, leftS: null },
      ...{ remarks: [], message: '', out: order.out ?? null, picture: 0, pictureText: '' },
    };
    this.entries.set(job.id, { job, order, run: undefined, timer: undefined });
    this.forget();
    this.beginWaiting();
    this.events.send('jobs', this.list());
    return job;
  }

  /** Ends a job, or takes it out of the line. False when it has ended or is not there. */
  cancel(id: number): boolean {
    const entry = this.entries.get(id);
    if (!entry || entry.job.endedAt !== null) return false;
    if (entry.run) {
      entry.job.stage = 'Stopping';
      this.changed(entry);
      entry.run.stop();
    } else this.end(entry, { state: 'cancelled' });
    return true;
  }

  /** Ends all work and waits for it. */
  async close(): Promise<void> {
    this.closed = true;
    const running = [...this.entries.values()].flatMap(({ run }) => (run ? [run] : []));
    for (const run of running) run.stop();
    await Promise.all(running.map(({ ended }) => ended));
    for (const { timer } of this.entries.values()) clearTimeout(timer);
  }

  private beginWaiting(): void {
    if (this.closed) return;
    const entries = [...this.entries.values()];
    const busy = new Set(entries.flatMap(({ run, order }) => (run && order.lane ? [order.lane] : [])));
    for (const entry of entries) {
      const { job, order } = entry;
      if (job.state !== 'waiting' || (order.lane !== undefined && busy.has(order.lane))) continue;
      if (order.lane !== undefined) busy.add(order.lane);
      Object.assign(job, { state: 'running', stage: 'Starting', startedAt: new Date().toISOString() });
      const run = order.begin((change) => {
        if (job.endedAt !== null) return;
        Object.assign(job, change);
        this.changed(entry);
      }, job);
      entry.run = run;
      void run.ended.then((end) => this.end(entry, end));
      this.changed(entry);
    }
  }

  private end(entry: Entry, { state, message = '' }: JobEnd): void {
    entry.run = undefined;
    Object.assign(entry.job, { state, message, endedAt: new Date().toISOString(), leftS: null });
    if (state === 'done') entry.job.share = 1;
    clearTimeout(entry.timer);
    entry.timer = undefined;
    this.events.send('job', entry.job);
    this.beginWaiting();
  }

  private changed(entry: Entry): void {
    entry.timer ??= setTimeout(() => {
      entry.timer = undefined;
      this.events.send('job', entry.job);
    }, sendMs);
  }

  private forget(): void {
    const ended = [...this.entries.values()].filter(({ job }) => job.endedAt !== null);
    for (const { job } of ended.slice(0, Math.max(0, ended.length - endedKept))) this.entries.delete(job.id);
  }
}

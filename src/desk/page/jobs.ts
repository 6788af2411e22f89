import type { DeskJob } from '../protocol.js';

export type Job = DeskJob;

/** What the server says of its own accord: the jobs as they are, and events by topic. */
export class ServerEvents {
  jobs: readonly Job[] = [];
  private readonly jobListeners = new Set<() => void>();
  private readonly source = new EventSource('events');

  constructor(onConnection: (isThere: boolean) => void) {
    this.source.addEventListener('open', () => onConnection(true));
    this.source.addEventListener('error', () => onConnection(false));
    this.on('jobs', (data) => this.setJobs(data as Job[]));
    this.on('job', (data) => {
      const job = data as Job;
      this.setJobs(this.jobs.map((old) => (old.id === job.id ? job : old)));
    });
  }

  /** Returns what ends it. */
  on(topic: string, listener: (data: unknown) => void): () => void {
    const hear = (event: MessageEvent<string>): void => listener(JSON.parse(event.data));
    this.source.addEventListener(topic, hear);
    return () => this.source.removeEventListener(topic, hear);
  }

  onJobs(listener: () => void): () => void {
    this.jobListeners.add(listener);
    return () => this.jobListeners.delete(listener);
  }

  private setJobs(jobs: readonly Job[]): void {
    this.jobs = jobs;
    for (const listener of this.jobListeners) listener();
  }
}

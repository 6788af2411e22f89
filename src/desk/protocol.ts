/** What the desk's server and page exchange; shared by both, so it knows neither Node nor the DOM. */

export type JobKind = 'merge' | 'check' | 'night' | 'sample';

export type JobState = 'waiting' | 'running' | 'done' | 'failed' | 'cancelled';

/** A sentence about the work, of the rank that `check` gives its findings. */
export interface JobRemark {
  rank: 'spoils' | 'flaw' | 'note';
  text: string;
}

/** Long work, which goes on whether or not a page shows it. */
export interface DeskJob {
  id: number;
  kind: JobKind;
  /** What it works on, as people call it: the name of a folder. */
  title: string;
  /** Absolute path of the folder that it works on. */
  folder: string;
  state: JobState;
  /** ISO 8601; null while it waits. */
  startedAt: string | null;
  endedAt: string | null;
  /** What is being done, in words. */
  stage: string;
  /** Done of the whole, 0 to 1. */
  share: number;
  /** Seconds to go; null while there is no estimate. */
  leftS: number | null;
  remarks: JobRemark[];
  /** How it ended, in a sentence. */
  message: string;
  /** Absolute path of what it wrote: a result folder, a folder of results. */
  out: string | null;
  /** Counts up when there is a new picture of its result to show at `picture?job=ID&version=N`; 0 for none. */
  picture: number;
}

/** Events of the stream `events`, by their topic. */
export interface DeskEvents {
  /** All jobs, the latest first; sent at once, and whenever jobs come and go. */
  jobs: DeskJob[];
  /** One of them, changed. */
  job: DeskJob;
}

export interface Refusal {
  message: string;
}

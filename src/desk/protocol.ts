/** What the desk's server and page exchange; shared by both, so it knows neither Node nor the DOM. */

import type { CheckReport } from '../check/check-report.js';

export type JobKind = 'merge' | 'check' | 'watch' | 'night' | 'sample';

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
  /** What that picture shows, in a few words. */
  pictureText: string;
}

/** Events of the stream `events`, by their topic. */
export interface DeskEvents {
  /** All jobs, the latest first; sent at once, and whenever jobs come and go. */
  jobs: DeskJob[];
  /** One of them, changed. */
  job: DeskJob;
  /** A folder that is watched while its stack is shot, as it is now. */
  shoot: ShootView;
}

export interface Refusal {
  message: string;
}

/** A folder below which everything is shown. */
export interface PlaceRoot {
  name: string;
  path: string;
}

/** Where the desk begins. */
export interface PlacesView {
  roots: PlaceRoot[];
  /** The sample stack: where it lies, or null where it has yet to be rendered. */
  sample: string | null;
}

/** What a folder is to a photographer. */
export type FolderKind = 'stack' | 'result' | 'batch' | 'folder';

export interface FolderEntry {
  name: string;
  path: string;
  kind: FolderKind;
  /** Photographs in it; a camera raw file and a JPEG of one name count once. */
  photographs: number;
  /** Folders in it that are shown. */
  folders: number;
}

/** A folder with what lies in it. */
export interface FolderView extends FolderEntry {
  /** From the root down to the folder itself. */
  trail: PlaceRoot[];
  entries: FolderEntry[];
  /** Folders that are not listed, for there are too many. */
  more: number;
}

/** What is known of a folder of photographs without decoding any. */
export interface StackFacts {
  path: string;
  photographs: number;
  /** Names in their natural order. */
  names: string[];
  /** Time of the camera's clock of the first and the last photograph that has one, ms since 1970; null when unknown. */
  takenMs: { first: number; last: number } | null;
  camera: string | null;
  lens: string | null;
  size: { width: number; height: number } | null;
  /** By which of its kinds the photographs are called: 'JPEG', 'raw', … */
  kinds: string[];
  sizeBytes: number;
  /** Results of it that lie beside it, the latest first. */
  results: ResultEntry[];
}

/** A result folder. */
export interface ResultEntry {
  name: string;
  path: string;
  /** ISO 8601. */
  madeAt: string;
  /** How much smaller a preview is than its photographs, a side; null for a merge at full size. */
  preview: number | null;
  /** Address of its picture, made small. */
  picture: string;
}

/** Where a dropped folder was found; empty where it was not. */
export interface FoundFolders {
  paths: string[];
}

/** Choices of a merge on the page; what is null or absent keeps its default. */
export interface MergeChoices {
  stepMm?: number | null;
  fieldWidthMm?: number | null;
  rule?: 'auto' | 'select' | 'weigh';
  anchor?: 'first' | 'middle' | 'last' | number;
  crop?: 'common' | 'anchor';
  format?: 'tif' | 'png' | 'jpg';
  direction?: 'auto' | 'near-to-far' | 'far-to-near';
  /** Numbers of frames to leave out. */
  skip?: number[];
  /** What orders the frames; null: time where every frame has one of its own, else names. */
  order?: 'time' | 'name' | null;
}

/** Choices of a check on the page, which go on to the merge; what is null or absent is found from the photographs. */
export type CheckChoices = Pick<MergeChoices, 'skip' | 'order' | 'direction' | 'stepMm'>;

/** A check of a folder, under way or done. */
export interface CheckView {
  folder: string;
  choices: CheckChoices;
  /** Numbers of the frames whose small pictures can be shown, at `strip?job=ID&frame=N`. */
  seen: number[];
  /** Its texts call options as the desk does; null until the check is done. */
  report: CheckReport | null;
}

/** What the merge screen shows before the work. */
export interface MergeForm {
  folder: string;
  name: string;
  /** In capture order, which gives them their numbers. */
  frames: { number: number; name: string; path: string }[];
  size: { width: number; height: number };
  /** What is to be said of the listing, sentences. */
  warnings: string[];
  notes: string[];
  /** Name of the result folder, and the one that is free when that is taken; null when it is not. */
  out: string;
  freeOut: string | null;
  /** As the result beside it was merged, or as the stack itself knows. */
  known: MergeChoices;
  estimateS: number;
  /** A quick look before the merge: how much smaller, a side, and in how many seconds; null where the merge itself is quick. */
  preview: { factor: 2 | 4 | 8; estimateS: number } | null;
}

/** What starts a merge. */
export interface MergeOrder {
  folder: string;
  choices: MergeChoices;
  /** Folder that the result goes into; null: the one that holds the folder of photographs. */
  into: string | null;
  /** Replace the result that lies in its place; else a free name is taken. */
  replace: boolean;
  previewFirst: boolean;
}

/** A page of the guide, and what pages there are. */
export interface GuideView {
  topics: { topic: string; title: string }[];
  html: string;
}

/** A stack that a night may merge. */
export interface NightStack {
  /** Its path below the folder, by which it is chosen. */
  stack: string;
  folder: string;
  frames: number;
  estimateS: number;
  /** Merged before, from the same photographs: it is passed over. */
  isFinished: boolean;
  /** Why it cannot be merged; null when it can. */
  fault: string | null;
  /** Address of one of its photographs, made small; null when there is none. */
  picture: string | null;
}

/** What the night screen shows of a folder before the work. */
export interface NightForm {
  folder: string;
  /** Where the results go: absolute path. */
  out: string;
  stacks: NightStack[];
  /** As the batch in `out` was last started. */
  known: Pick<MergeChoices, 'stepMm' | 'fieldWidthMm'>;
  /** How the batch in `out` stands, when there was one. */
  status: NightView | null;
}

/** What starts a night. */
export interface NightOrder {
  folder: string;
  /** The folder that the folder of all results goes into; null for the one above `folder`. */
  into: string | null;
  /** Paths of the stacks below the folder, in their order. */
  stacks: string[];
  /** Time of day, HH:MM; null for no bound. */
  until: string | null;
  /** What a batch over the folder was started with before holds for all else. */
  choices: Pick<MergeChoices, 'stepMm' | 'fieldWidthMm'>;
}

/** How a night stands, or went. */
export interface NightView {
  out: string;
  /** The folder whose stacks are merged. */
  folder: string;
  /** As `into` of the order; null where that was not given. */
  into: string | null;
  /** In a line: so many of so many merged. */
  summary: string;
  /** Whether it goes on now, here or in another process. */
  isRunning: boolean;
  /** How it ended; what there is to do when it did not end by itself. */
  end: string;
  /** What needs a decision comes first. */
  groups: { title: string; stacks: NightEntry[] }[];
}

/** A stack of a night. */
export interface NightEntry {
  stack: string;
  state: 'waiting' | 'running' | 'done' | 'failed' | 'put off';
  /** Frames and time, in words. */
  facts: string;
  /** Why it failed or was put off. */
  reason: string | null;
  verdicts: string[];
  warnings: string[];
  /** Address of a small picture of the result, or of a photograph before there is one; null when there is none. */
  picture: string | null;
  /** Its result folder, when there is one. */
  result: string | null;
}

/** What starts a watch over a folder into which frames arrive. */
export interface ShootOrder {
  folder: string;
  stepMm: number | null;
  plannedFrames: number | null;
}

/** A frame that was shot, as far as the page shows it; see `FrameVerdict` in watch/watch-events.ts. */
export interface ShotFrame {
  number: number;
  name: string;
  isGood: boolean;
  positionSteps: number;
  positionMm: number | null;
  centre: { x: number; y: number } | null;
  sharpestPercent: number;
}

/** A stack while it is shot. */
export interface ShootView extends ShootOrder {
  job: number;
  name: string;
  frames: ShotFrame[];
  /** The frame that was judged last: its name, what is said of it, and whether it is good. */
  last: { name: string; text: string; isGood: boolean } | null;
  /** Counts the frames that were judged: a page that saw fewer sounds its tone. */
  judged: number;
  /** How far the subject is covered, in words, and in figures. */
  coverage: string;
  coveredPercent: number | null;
  framesToGo: number | null;
  framesToGoBy: 'plan' | 'pictures' | null;
  remarks: JobRemark[];
  /** A file whose content is still arriving, and what else there is to say at the moment. */
  arriving: string | null;
  notice: string | null;
}

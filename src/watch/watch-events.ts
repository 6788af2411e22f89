import type { Finding, FindingKind } from '../result/finding.js';

/** How far a subject is covered. */
export interface SubjectCoverage {
  /** Share of what has shown detail so far that is sharp in a frame, percent; null where nothing has yet. */
  coveredPercent: number | null;
  /** Frames to go: by the plan, or estimated from what still comes into focus. Null where nothing is known of it. */
  framesToGo: number | null;
  framesToGoBy: 'plan' | 'pictures' | null;
  /** More may be to go: parts of the subject are too blurred yet to tell when they come into focus. */
  isLeastToGo: boolean;
  /** No part of the picture is still coming into focus; null where that is not known yet. */
  isComplete: boolean | null;
}

/** What is known of a frame as soon as it is in. */
export interface FrameVerdict {
  number: number;
  name: string;
  /** Nothing but notes was found with this frame. */
  isGood: boolean;
  /** Where the plane of focus lies, from that of the first frame; mm where the step is known. */
  positionSteps: number;
  positionMm: number | null;
  /** Which part of the picture is sharpest in it, and the share of all detail that is. */
  part: string;
  centre: { x: number; y: number } | null;
  sharpestPercent: number;
  /** Travel from the frame before: 1 is the usual step; null where it is not known. Planned: by step or sheet. */
  stepSteps: number | null;
  stepMm: number | null;
  plannedStepMm: number | null;
  isShaken: boolean;
  /** Light relative to the first frame's. */
  light: number;
  burntPercent: number;
  blockedPercent: number;
}

/** What a watched folder tells, in the order in which it happens. */
export type WatchEvent =
  /** The watch has begun. */
  | { event: 'begin'; folder: string; plannedFrames: number | null }
  /** A name is there, but its content is not whole yet. */
  | { event: 'arriving'; name: string }
  /** A frame has been judged; `frames` counts all that are in, `waitMs` from when the file was whole. */
  | ({ event: 'frame'; frames: number; waitMs: number } & FrameVerdict & SubjectCoverage)
  /** A verdict that is new, or that concerns further frames. */
  | { event: 'finding'; finding: Finding; isNew: boolean }
  /** A verdict that later frames took back. */
  | { event: 'cleared'; kind: FindingKind; message: string }
  | { event: 'renamed'; from: string; to: string }
  | { event: 'gone'; name: string; frames: number }
  /** The content under a name was exchanged; the frame is judged again. */
  | { event: 'replaced'; name: string }
  /** A file that is no frame, and why. */
  | { event: 'passed-over'; name: string; reason: string }
  /** The folder cannot be read at present; it is looked at again. */
  | { event: 'notice'; message: string }
  /** The watch has ended: the verdict on the stack as it is, all findings included. */
  | { event: 'end'; frames: number; fit: boolean; findings: Finding[] };

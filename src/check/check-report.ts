import type { Size } from '../image/image.js';
import type { Finding } from '../result/finding.js';
import type { Direction, DirectionEvidence, DirectionSource } from '../stack/focus-direction.js';
import type { CoverageShares } from './coverage-findings.js';
import type { FrameFocus } from './focus-findings.js';

/** What was measured of one frame. */
export interface CheckedFrame extends FrameFocus {
  name: string;
  takenMs: number | undefined;
  usable: boolean;
  /** Frame to the middle frame: scale, shift of the centre, full-size pixels, and roll. */
  scale: number;
  shiftXPx: number;
  shiftYPx: number;
  rollDeg: number;
  /** Travel from the frame before, usual steps; null where it is not known. */
  travelSteps: number | null;
  /**
   * Loss of sharpness against its neighbours along one direction, and in all directions; ln energy. Null where it is
   * not known.
   */
  uneven: number | null;
  dip: number | null;
  /** Light relative to the anchor's. */
  light: number;
  burntPercent: number;
  blockedPercent: number;
}

/** The verdicts on a stack, as data. */
export interface CheckReport {
  folder: string;
  /** No finding spoils the merge. */
  fit: boolean;
  /** The gravest first. */
  findings: Finding[];
  frames: CheckedFrame[];
  size: Size;
  direction: Direction;
  /** What decided the direction; absent when nothing did. */
  directionBy?: DirectionSource;
  /** Evidence for the direction in the frames. */
  directionEvidence?: DirectionEvidence;
  coverage: CoverageShares;
  /** Half width of the focus curves of the finest measured detail, usual steps; null when unknown. */
  focusWidthSteps: number | null;
  wallMs: number;
}

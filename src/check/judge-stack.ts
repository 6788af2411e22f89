import { usualStepMm } from '../rail/given-travel.js';
import type { JudgedEvidence } from '../rail/stack-reading.js';
import { byRank, type Finding } from '../result/finding.js';
import type { FocusDirection } from '../stack/focus-direction.js';
import type { Stack } from '../stack/frame.js';
import type { CheckOptions } from './check-options.js';
import type { CoverageShares } from './coverage-findings.js';
import { directionFindings } from './direction-findings.js';
import { fileCounter } from './file-numbers.js';
import { type FrameFocus, judgeFocus } from './focus-findings.js';
import { judgeLight } from './light-findings.js';
import { listingFindings, unreadableFindings } from './listing-findings.js';
import { motionFindings } from './motion-findings.js';
import { opticsFindings } from './optics-findings.js';
import { sensorFindings } from './sensor-findings.js';

/** The verdict on a stack, before it is merged and after. */
export interface Judgement {
  /** The gravest first. */
  findings: Finding[];
  /** Where each readable frame is sharpest, and its light over the middle frame's. */
  focus: FrameFocus[];
  light: number[];
  coverage: CoverageShares;
}

/** What is known of the set-up. */
export type JudgeOptions = Pick<
  CheckOptions,
  'stepMm' | 'positionsMm' | 'travelPerTurnMm' | 'marksPerTurn' | 'magnification' | 'pixelPitchUm'
>;

/**
 * Judges a stack by what its frames show: the one judge for `check` and `merge`, and so for reports, batches and their
 * tables.
 *
 * @param unreadable Frames that could not be decoded, by number, and why.
 * @param way Which end is near, as the caller decided.
 */
export function judgeStack(
  stack: Stack,
  evidence: JudgedEvidence,
  unreadable: ReadonlyMap<number, string>,
  way: FocusDirection,
  options: JudgeOptions,
): Judgement {
  const { measurements, motion, fit, fineWidth, dust, hotPixels } = evidence;
  const { tiles, blurred, travel } = evidence.stackTravel;
  const { frames } = motion;
  const { travelPerTurnMm, marksPerTurn } = options;
  const stepMm = usualStepMm(options);
  const scale = { stepMm, travelPerTurnMm, marksPerTurn };
  const focus = judgeFocus(fit, tiles.columns, travel, frames, way.direction, fineWidth, scale);
  const { light, findings: lightFindings } = judgeLight(frames, measurements);
  const findings = byRank([
    ...listingFindings(stack, measurements),
    ...unreadableFindings(unreadable),
    ...motionFindings(frames, travel, blurred, fineWidth, stack.size, {
      ...scale,
      counter: fileCounter(evidence.files),
    }),
    ...directionFindings(way, { widthPx: stack.size.width, stepMm }),
    ...focus.findings,
    ...lightFindings,
    ...sensorFindings(dust, hotPixels),
    ...opticsFindings({ ...options, stepMm }, stack.frames[0].exif),
  ]).map((finding) => withFiles(finding, stack));
  offerOtherOrder(findings);
  return { findings, focus: focus.frames, light, coverage: focus.coverage };
}

/** Frames that run backwards may only be out of order, where names and times differ. */
function offerOtherOrder(findings: readonly Finding[]): void {
  const fixes = findings.find(({ kind }) => kind === 'order')?.fixes;
  for (const finding of findings) if (finding.kind === 'reversed-turn' && fixes) finding.fixes = fixes;
}

/** Photographers know their frames by the names of the files. */
export function withFiles(finding: Finding, { frames }: Stack): Finding {
  const named = new Set(finding.frames);
  const files = frames.flatMap(({ number, name }) => (named.has(number) ? [name] : []));
  return files.length > 0 ? { ...finding, files } : finding;
}

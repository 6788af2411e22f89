import { type CoverageShares, coverageFindings, worthAdvicePercent } from '../../check/coverage-findings.js';
import type { Finding, FindingKind } from '../../check/finding.js';
import { verdictAfter } from '../../check/judge-stack.js';
import { resultCoverage } from '../../check/result-coverage.js';
import { type CoverageClassName, coverageClasses } from '../coverage.js';
import type { RunRecord } from '../run-record.js';
import { counted, depthText, percentText } from './numbers.js';

/** The outcome of a run in plain sentences, the most important first. `coverage` is what the maps tell, where they are at hand. */
export function verdicts(record: RunRecord, coverage: CoverageShares = resultCoverage(record)): string[] {
  const { frames, maps } = record;
  const used = frames.filter((frame) => frame.used);
  const anchor = frames.find((frame) => frame.number === record.anchorNumber);
  const anchorName = anchor ? ` (${anchor.name})` : '';
  const findings = record.findings ?? coverageFindings(coverage);
  const sentences = [
    verdictAfter(findings),
    `${used.length} of ${counted(frames.length, 'frame')} went into the picture; it keeps the framing of frame ${record.anchorNumber}${anchorName}.`,
  ];
  for (const { kind, rank, message, advice } of findings) {
    // Other notes stand further down.
    if (rank !== 'note' || kind === 'out-of-reach') sentences.push(`${message} ${advice}`.trim());
  }
  for (const frame of frames) {
    // A warning tells it already, further down.
    if (frame.used || record.warnings.some((warning) => warning.includes(frame.name))) continue;
    sentences.push(
      `Frame ${frame.number} (${frame.name}) was left out: ${frame.leftOutReason ?? 'no reason recorded'}.`,
    );
  }
  for (const { value, name, percent } of maps.coverage.classes) {
    if (name !== 'covered' && isJudged(name, percent, findings)) continue;
    const meaning = coverageClasses.find((entry) => entry.name === name)?.meaning ?? `is of class ${value}`;
    const advice =
      name === 'no-detail' && percent >= worthAdvicePercent
        ? ' There, depth follows from the surroundings.'
        : '';
    sentences.push(`${percentText(percent)} of the picture ${verb(meaning)}.${advice}`);
  }
  const { min, max, unit } = maps.depth;
  if (min !== null && max !== null)
    sentences.push(`The subject spans ${depthText(max - min, unit)} of depth.`);
  const idle = used.filter((frame) => frame.sharePercent === 0);
  if (idle.length) {
    const numbers = idle.map((frame) => frame.number).join(', ');
    sentences.push(`${counted(idle.length, 'used frame')} supplied no pixel of its own: ${numbers}.`);
  }
  return sentences;
}

/** Meanings begin with a verb or with an adjective, which wants one. */
function verb(meaning: string): string {
  return /^(lies|has|is)\b/.test(meaning) ? meaning : `is ${meaning}`;
}

/** Whether a finding tells of a class already: then that has the say, for its figures are those of a check. */
function isJudged(name: CoverageClassName, percent: number, findings: readonly Finding[]): boolean {
  if (percent === 0) return true;
  const kinds = classKinds[name] ?? [];
  return (
    kinds.length > 0 && (percent >= worthAdvicePercent || findings.some(({ kind }) => kinds.includes(kind)))
  );
}

const classKinds: Partial<Record<CoverageClassName, readonly FindingKind[]>> = {
  'before-first': ['too-short-in-front', 'too-short-behind'],
  'after-last': ['too-short-in-front', 'too-short-behind'],
  gap: ['missed-step', 'too-coarse-steps'],
  'out-of-reach': ['out-of-reach'],
};

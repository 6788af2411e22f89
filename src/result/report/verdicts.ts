import { countOf } from '../../stack/words.js';
import { type CoverageClassName, coverageClasses, worthAdvicePercent } from '../coverage.js';
import type { RunRecord } from '../run-record.js';
import { verdictAfter } from '../verdict.js';
import { depthText, percentText } from './numbers.js';

/** Classes that no finding is about; the legend of the map has the shares of all. */
const reportedClasses: readonly CoverageClassName[] = ['covered', 'no-detail'];

/** The outcome of a run in plain sentences, the most important first. */
export function verdicts(record: RunRecord): string[] {
  const { frames, maps } = record;
  const used = frames.filter((frame) => frame.used);
  const anchor = frames.find((frame) => frame.number === record.anchorNumber);
  const anchorName = anchor ? ` (${anchor.name})` : '';
  const findings = record.findings ?? [];
  const sentences = [
    // A record without findings was not judged.
    ...(record.findings ? [verdictAfter(findings)] : []),
    `${used.length} of ${countOf(frames.length, 'frame')} went into the picture; it keeps the framing of frame ${record.anchorNumber}${anchorName}.`,
  ];
  for (const { kind, rank, message, advice } of findings) {
    // Other notes stand further down.
    if (rank !== 'note' || kind === 'out-of-reach') sentences.push(`${message} ${advice}`.trim());
  }
  for (const frame of frames) {
    // A warning reports it already, further down.
    if (frame.used || record.warnings.some((warning) => warning.includes(frame.name))) continue;
    sentences.push(
      `Frame ${frame.number} (${frame.name}) was left out: ${frame.leftOutReason ?? 'no reason recorded'}.`,
    );
  }
  for (const { value, name, percent } of maps.coverage.classes) {
    if (!reportedClasses.includes(name) || (percent === 0 && name !== 'covered')) continue;
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
    sentences.push(`${countOf(idle.length, 'used frame')} supplied no pixel of its own: ${numbers}.`);
  }
  return sentences;
}

/** Meanings begin with a verb or with an adjective, which wants one. */
function verb(meaning: string): string {
  return /^(lies|has|is)\b/.test(meaning) ? meaning : `is ${meaning}`;
}

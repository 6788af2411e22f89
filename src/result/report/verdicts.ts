import { coverageClasses } from '../coverage.js';
import type { RunRecord } from '../run-record.js';
import { counted, depthText, percentText } from './numbers.js';

/** Shares below this are the rule at borders and in shadows: not worth advice, percent. */
const worthAdvicePercent = 1;

/** What the user can do about a class of coverage at the next shooting. */
const advice: Partial<Record<string, string>> = {
  'before-first': 'Begin the next stack earlier.',
  'after-last': 'Let the next stack run on further.',
  gap: 'Use a smaller step next time.',
  'no-detail': 'There, depth follows from the surroundings.',
};

/** The outcome of a run in plain sentences, the most important first. */
export function verdicts(record: RunRecord): string[] {
  const { frames, maps } = record;
  const used = frames.filter((frame) => frame.used);
  const anchor = frames.find((frame) => frame.number === record.anchorNumber);
  const anchorName = anchor ? ` (${anchor.name})` : '';
  const sentences = [
    `${used.length} of ${counted(frames.length, 'frame')} went into the picture; it keeps the framing of frame ${record.anchorNumber}${anchorName}.`,
  ];
  for (const frame of frames) {
    // A warning tells it already, further down.
    if (frame.used || record.warnings.some((warning) => warning.includes(frame.name))) continue;
    sentences.push(
      `Frame ${frame.number} (${frame.name}) was left out: ${frame.leftOutReason ?? 'no reason recorded'}.`,
    );
  }
  for (const { value, name, percent } of maps.coverage.classes) {
    if (name !== 'covered' && percent === 0) continue;
    const isLarge = percent >= worthAdvicePercent && advice[name] !== undefined;
    const meaning = coverageClasses.find((entry) => entry.name === name)?.meaning ?? `is of class ${value}`;
    sentences.push(
      `${percentText(percent)} of the picture ${verb(meaning)}.${isLarge ? ` ${advice[name]}` : ''}`,
    );
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

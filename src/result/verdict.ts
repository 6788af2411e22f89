import { countOf } from '../stack/words.js';
import { type Finding, spoilsMerge } from './finding.js';

/** The verdict on a stack that is not merged yet. */
export function verdictBefore(findings: readonly Finding[]): string {
  const spoiling = findings.filter(({ rank }) => rank === 'spoils').length;
  return spoiling === 0
    ? `Fit to merge.${flawText(findings)}`
    : `Not fit to merge: ${countOf(spoiling, 'finding')} would spoil the picture.${flawText(findings)}`;
}

/** The verdict on a merged stack, from the same findings. */
export function verdictAfter(findings: readonly Finding[]): string {
  const spoiling = findings.filter(({ rank }) => rank === 'spoils').length;
  return spoilsMerge(findings)
    ? `Merged, but look: ${countOf(spoiling, 'finding')} ${spoiling === 1 ? 'spoils' : 'spoil'} the picture.${flawText(findings)}`
    : `Merged.${flawText(findings)}`;
}

function flawText(findings: readonly Finding[]): string {
  const flaws = findings.filter(({ rank }) => rank === 'flaw').length;
  return flaws === 0 ? '' : ` ${countOf(flaws, 'flaw')} to know of.`;
}

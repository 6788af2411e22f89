import type { ResultInfo } from '../protocol.js';

/** A number with at most `digits` decimals and a true minus sign. */
export function numberText(value: number, digits: number): string {
  const text = String(Number(value.toFixed(digits)));
  return text.replace('-', '−');
}

export function formatDepth(depth: number, unit: ResultInfo['unit']): string {
  if (unit === 'mm') return `${numberText(depth, 3)} mm`;
  const text = numberText(depth, 1);
  return `${text} ${text === '1' ? 'step' : 'steps'}`;
}

export function mmText(mm: number): string {
  return mm < 0.1 ? `${numberText(mm * 1000, mm < 0.01 ? 1 : 0)} µm` : `${numberText(mm, 3)} mm`;
}

export function shareText(percent: number): string {
  if (percent > 0 && percent < 0.05) return 'under 0.1 %';
  return `${numberText(percent, 1)} %`;
}

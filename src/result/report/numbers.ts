import type { DepthUnit } from '../run-record.js';

/** A number with at most `digits` decimals, without trailing zeros; a dash for none. */
export function shortNumber(value: number | null | undefined, digits: number): string {
  if (value === null || value === undefined || !Number.isFinite(value)) return '–';
  return String(Number(value.toFixed(digits)));
}

/** A number rounded to `digits` digits that count, without trailing zeros. */
export function significantNumber(value: number, digits: number): string {
  return String(Number(value.toPrecision(digits)));
}

/** A number with exactly `digits` decimals, for columns; a dash for none. */
export function columnNumber(value: number | null | undefined, digits: number): string {
  return value === null || value === undefined ? '–' : value.toFixed(digits);
}

/** A share for reading: "0 %", "under 0.1 %", "12.3 %". */
export function percentText(percent: number): string {
  if (percent > 0 && percent < 0.05) return 'under 0.1 %';
  return `${shortNumber(percent, 1)} %`;
}

/** A depth with its unit. */
export function depthText(depth: number, unit: DepthUnit): string {
  const value = shortNumber(depth, unit === 'mm' ? 3 : 1);
  return unit === 'mm' ? `${value} mm` : `${value} ${value === '1' ? 'step' : 'steps'}`;
}

/** A duration for reading: "480 ms", "12.3 s", "3 min 20 s". */
export function durationText(ms: number): string {
  if (ms < 1000) return `${Math.round(ms)} ms`;
  if (ms < 60_000) return `${shortNumber(ms / 1000, 1)} s`;
  const seconds = Math.round(ms / 1000);
  return `${Math.floor(seconds / 60)} min ${seconds % 60} s`;
}

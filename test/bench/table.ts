/** Seconds with two decimals; '-' for what was not measured. */
export function seconds(value: number | undefined): string {
  return value === undefined || Number.isNaN(value) ? '-' : `${value.toFixed(2)} s`;
}

/** Seconds as whole milliseconds. */
export function milliseconds(value: number): string {
  return `${(value * 1000).toFixed(0)} ms`;
}

/** How often `part` goes into `whole`, e.g. '2.4 x'. */
export function ratio(whole: number, part: number): string {
  return Number.isFinite(whole / part) ? `${(whole / part).toFixed(2)} x` : '-';
}

/** Rows of cells as aligned text: the first column to the left, the others to the right. */
export function alignTable(rows: readonly (readonly string[])[]): string {
  const columns = Math.max(...rows.map((row) => row.length));
  const widths = Array.from({ length: columns }, (_, i) =>
    Math.max(...rows.map((row) => row[i]?.length ?? 0)),
  );
  return rows
    .map((row) =>
      row.map((cell, i) => (i === 0 ? cell.padEnd(widths[i]) : cell.padStart(widths[i]))).join('  '),
    )
    .join('\n');
}

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

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

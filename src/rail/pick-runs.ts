/**
 * Indices of consecutive frames: runs of `length` at both ends and in the middle of a stack of `count`; all in one run where
 * three such runs would meet or overlap.
 */
export function pickRuns(count: number, length: number): number[][] {
  const run = (start: number, size: number) => Array.from({ length: size }, (_, i) => start + i);
  if (count <= 3 * length) return [run(0, count)];
  const last = count - length;
  return [0, Math.floor(last / 2), last].map((start) => run(start, length));
}

/**
 * Indices of consecutive frames: `length` of them at both ends and in the middle of a stack of `count`, all of a stack
 * that is shorter than two such runs. Runs may overlap where the stack is short.
 */
export function pickRuns(count: number, length: number): number[][] {
  const run = (start: number, size: number) => Array.from({ length: size }, (_, i) => start + i);
  if (count < 2 * length) return [run(0, count)];
  const last = count - length;
  const starts = count < 3 * length ? [0, last] : [0, Math.floor(last / 2), last];
  return starts.map((start) => run(start, length));
}

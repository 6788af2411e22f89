/** About `count` round values (1, 2 or 5 times a power of ten apart) from `low` to `high`, for an axis. */
export function axisMarks(low: number, high: number, count = 8): number[] {
  const span = high - low;
  if (!(span > 0)) return [low];
  const rough = span / count;
  const power = 10 ** Math.floor(Math.log10(rough));
  const distance = [1, 2, 5, 10].map((factor) => factor * power).find((candidate) => candidate >= rough)!;
  const marks: number[] = [];
  const last = Math.floor(high / distance + 1e-9);
  for (let i = Math.ceil(low / distance - 1e-9); i <= last; i++) marks.push(i * distance);
  return marks;
}

/** The values 1, 2 and 5 times powers of ten from `low` to `high`, both above 0, for an axis of logarithms. */
export function logAxisMarks(low: number, high: number): number[] {
  const marks: number[] = [];
  for (let power = 10 ** Math.floor(Math.log10(low)); power <= high; power *= 10) {
    marks.push(...[1, 2, 5].map((factor) => factor * power));
  }
  return marks.filter((mark) => mark >= low * (1 - 1e-9) && mark <= high * (1 + 1e-9));
}

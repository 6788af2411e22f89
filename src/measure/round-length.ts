/** The longest round length (1, 2 or 5 times a power of ten) up to a bound above 0. */
export function roundLength(max: number): number {
  const power = 10 ** Math.floor(Math.log10(max) + 1e-9);
  const factor = [5, 2, 1].find((candidate) => candidate * power <= max * (1 + 1e-9)) ?? 1;
  return Number((factor * power).toPrecision(1));
}

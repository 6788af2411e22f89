/** A round length (1, 2 or 5 times a power of ten) of `maxLength` at most. */
export function roundLength(maxLength: number): number {
  const power = 10 ** Math.floor(Math.log10(maxLength));
  return (
    [5, 2, 1].map((factor) => factor * power).find((length) => length <= maxLength * (1 + 1e-9)) ?? power
  );
}

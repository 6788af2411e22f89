const decimal = /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i;

/** The finite number that a decimal text with a point stands for; undefined for any other text. */
export function readNumber(text: string): number | undefined {
  const value = decimal.test(text) ? Number(text) : Number.NaN;
  return Number.isFinite(value) ? value : undefined;
}

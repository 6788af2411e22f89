const decimal = /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i;
/** A decimal comma: once, before digits. */
const commaDecimal = /^([+-]?\d*),(\d+)$/;
/** A comma that may as well part thousands, as in 1,500 and 24,000,000; never behind a zero, as in 0,500. */
const thousands = /^[+-]?[1-9]\d{0,2}(,\d{3})+$/;

/**
 * The finite number that a decimal text with a point or a comma stands for; undefined for any other text, and for one
 * whose comma may part thousands.
 */
export function readNumber(text: string): number | undefined {
  const pointed = thousands.test(text) ? text : text.replace(commaDecimal, '$1.$2');
  const value = decimal.test(pointed) ? Number(pointed) : Number.NaN;
  return Number.isFinite(value) ? value : undefined;
}

/** What to write for a number whose comma has two meanings, for the end of a refusal; undefined for any other text. */
export function commaAdvice(text: string): string | undefined {
  const number = /^\s*([-+\d,]+)/.exec(text)?.[1] ?? '';
  if (!thousands.test(number)) return undefined;
  const whole = number.replaceAll(',', '');
  const pointed = /^[^,]*,[^,]*$/.test(number) ? ` or ${number.replace(',', '.')}` : '';
  return `the comma may part thousands or decimals: write ${whole}${pointed}`;
}

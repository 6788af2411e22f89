import { readNumber } from './read-number.js';

/** Units of one kind of quantity, each in the base unit of its kind. */
const kinds: readonly Readonly<Record<string, number>>[] = [
  {
    nm: 1e-9,
    um: 1e-6,
    micron: 1e-6,
    microns: 1e-6,
    mm: 1e-3,
    millimetre: 1e-3,
    millimetres: 1e-3,
    millimeter: 1e-3,
    millimeters: 1e-3,
    cm: 1e-2,
    m: 1,
    km: 1e3,
  },
  { ms: 1e-3, s: 1, sec: 1, secs: 1, second: 1, seconds: 1, min: 60, minute: 60, minutes: 60, h: 3600 },
  { mb: 1, gb: 1000 },
  { mp: 1, megapixel: 1, megapixels: 1 },
  { px: 1, pixel: 1, pixels: 1 },
  { '%': 1, percent: 1 },
  { stops: 1, stop: 1, ev: 1 },
];

/** Digits that a conversion keeps: beyond them lies its rounding. */
const digits = 12;

/**
 * The number that a text stands for in `unit`: a bare number, or one with a unit of the same kind behind it, such as
 * `0.05mm`, `50 µm`, `1/20 mm` or `1/60 s`. Undefined for any other text, above all for a unit of another kind.
 *
 * @param unit Of the option, as its help names it; undefined for a quantity that has none.
 */
export function readQuantity(text: string, unit: string | undefined): number | undefined {
  const [, amount, name] =
    /^\s*([-+.,\d/e]*?[\d.])\s*([a-zµμ%]*)\s*$/i.exec(text.replace(/\s*\/\s*/, '/')) ?? [];
  if (amount === undefined) return undefined;
  const kind = kinds.find((units) => unit !== undefined && wordOf(unit) in units);
  const value = (kind && readQuotient(amount, '/')) ?? readNumber(amount);
  if (value === undefined || name === '') return value;
  const word = wordOf(name);
  if (!kind || unit === undefined || !Object.hasOwn(kind, word)) return undefined;
  const factor = kind[word] / kind[wordOf(unit)];
  return factor === 1 ? value : Number((value * factor).toPrecision(digits));
}

/** A ratio as photographers write it: 2.5, 2.5x, 1:2 or 1/2. */
export function readRatio(text: string): number | undefined {
  const bare = text.trim();
  return readQuotient(bare, ':') ?? readQuotient(bare, '/') ?? readNumber(bare.replace(/\s*[x×]$/i, ''));
}

/** An f-number: 5.6, f5.6 or f/5.6. */
export function readFNumber(text: string): number | undefined {
  return readNumber(text.trim().replace(/^f\s*\/?\s*/i, ''));
}

function readQuotient(text: string, sign: string): number | undefined {
  const parts = text.split(sign).map((part) => readNumber(part.trim()));
  if (parts.length !== 2 || parts[0] === undefined || !parts[1]) return undefined;
  return parts[0] / parts[1];
}

/** Both signs for micro, that of the keyboard and that of the alphabet, become `u`. */
function wordOf(unit: string): string {
  return unit.toLowerCase().replace(/[µμ]/g, 'u');
}

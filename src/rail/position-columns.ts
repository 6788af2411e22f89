/** What the numbers of a column of positions count: a length, steps of the rail's motor, or focus steps of the camera. */
export type PositionUnit = 'nm' | 'um' | 'mm' | 'cm' | 'm' | 'motor step' | 'focus step';

/** What a heading says of its column; undefined where it is none of these. */
export type ColumnMeaning =
  | { kind: 'frame' }
  /** `unit` undefined: the heading names none. */
  | { kind: 'position'; unit: PositionUnit | undefined; isMeasured: boolean }
  | { kind: 'pitch'; unit: PositionUnit | undefined };

/** The headings that are understood, for the message that refuses others. */
export const understoodHeadings =
  'position (mm, µm or steps, as in "position_um" or in a line of units), steps, focus_step, frame, and pitch_um (travel for one step)';

const frameWords = /^(frame|number|no|nr|num|shot|image|photo|picture|exposure|file)$/;
const positionWords = /^(pos|position|positions|rail|carriage|stage|travel|location|z)$/;
const stepWords = /^(steps?|microsteps?|pulses?|counts?|ticks?)$/;
const focusWords = /^(focus|focusing|focussing)$/;
const measuredWords = /^(actual|measured|reached|real|encoder)$/;
const lengthUnits: Readonly<Record<string, PositionUnit>> = {
  ...{ nm: 'nm', um: 'um', micron: 'um', microns: 'um', micrometer: 'um', micrometers: 'um' },
  ...{ micrometre: 'um', micrometres: 'um', mm: 'mm', millimetre: 'mm', millimetres: 'mm' },
  ...{ millimeter: 'mm', millimeters: 'mm', cm: 'cm', m: 'm' },
};

/** What a heading means, by its words: `positionMm`, `Position (µm)` and `rail position [steps]` all serve. */
export function columnMeaning(heading: string): ColumnMeaning | undefined {
  const words = wordsOf(heading);
  const has = (pattern: RegExp) => words.some((word) => pattern.test(word));
  const length = words.flatMap((word) => lengthUnits[word] ?? []).at(-1);
  const isRatio = words.includes('per') || /\p{L}\s*\/\s*\p{L}/u.test(heading);
  if (words.includes('pitch') || (isRatio && has(stepWords))) return { kind: 'pitch', unit: length };
  const isMeasured = has(measuredWords);
  if (has(focusWords)) {
    // A focused distance is no position of a rail.
    return length === undefined ? { kind: 'position', unit: 'focus step', isMeasured } : undefined;
  }
  // The length of a step, not a count of them.
  if (has(stepWords) && length !== undefined) return undefined;
  if (has(stepWords)) return { kind: 'position', unit: 'motor step', isMeasured };
  if (has(positionWords)) return { kind: 'position', unit: length, isMeasured };
  if (length !== undefined && words.length === 1) return { kind: 'position', unit: length, isMeasured };
  if (words.length > 0 && frameWords.test(words[0])) return { kind: 'frame' };
  return heading.trim() === '#' || words[0] === 'index' ? { kind: 'frame' } : undefined;
}

/** The unit that a cell of a line of units names, such as "mm" or "[µm]"; undefined for any other text. */
export function unitOfCell(cell: string): PositionUnit | undefined {
  const words = wordsOf(cell);
  if (words.length !== 1) return undefined;
  return lengthUnits[words[0]] ?? (stepWords.test(words[0]) ? 'motor step' : undefined);
}

/** Lengths that rails are not logged in here, and other quantities. */
const foreignUnits =
  /^(inch|inches|mils?|thou|ft|foot|feet|yd|dm|km|pm|deg|degs|degrees?|rad|turns?|revs?|revolutions?|marks?|kg|ms|secs?|seconds?|minutes?|px|pixels?|volts?)$/;
/** Units that are words or single letters too, and units only where they stand last. */
const foreignEndings = /^(in|s|h|g|v|min)$/;

/** Whether a heading names a unit that positions cannot be read in. */
export function namesForeignUnit(heading: string): boolean {
  const words = wordsOf(heading);
  if (words.some((word) => unitOfCell(word) !== undefined)) return false;
  return words.some((word) => foreignUnits.test(word)) || foreignEndings.test(words.at(-1) ?? '');
}

/** `positionMm` and `position_mm` as words in small letters, both signs for micro as u. */
function wordsOf(heading: string): string[] {
  return heading
    .replace(/([a-z])([A-Z])/g, '$1 $2')
    .toLowerCase()
    .replace(/[µμ]/g, 'u')
    .split(/[^a-z]+/)
    .filter((word) => word !== '');
}

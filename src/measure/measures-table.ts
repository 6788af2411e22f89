import { textCell } from '../markup/csv-cell.js';
import type { MeasuresRecord, StoredMeasure } from '../result/measures-file.js';
import { kindText, placeText } from '../result/report/measure-words.js';

/** Columns of the table of measures; the first names it, so that a file is known again. */
const headings = [
  'lamella_measure',
  'kind',
  'place',
  'quantity',
  'value',
  'uncertainty_k2',
  'unit',
  'why_unknown',
  'note',
  'measured_at',
];

/** By this the table of measures is known again. */
export const measuresTableMark = headings.slice(0, 2).join(',');

/** All measures as CSV (RFC 4180), a line for each value. */
export function measuresCsv(measures: readonly StoredMeasure[]): string {
  const lines = measures.flatMap((measure) =>
    measure.quantities.map(({ name, value, uncertainty, unit, unknownBecause = '' }) => [
      measure.id,
      textCell(kindText(measure)),
      textCell(placeText(measure)),
      textCell(name),
      value ?? '',
      uncertainty ?? '',
      textCell(unit),
      textCell(unknownBecause),
      textCell(measure.note),
      measure.measuredAt,
    ]),
  );
  return [headings, ...lines].map((cells) => `${cells.join(',')}\r\n`).join('');
}

/** All measures as JSON, as measures.json holds them. */
export function measuresJson(record: MeasuresRecord): string {
  return `${JSON.stringify(record, null, 2)}\n`;
}

import { distanceBetween } from '../measure/distance-between.js';
import { editMeasures, type MeasureEdits } from '../measure/edit-measures.js';
import { measureOpened } from '../measure/measure-result.js';
import {
  type MeasureRequest,
  readMeasures,
  type StoredMeasure,
  stateOfMeasures,
} from '../result/measures-file.js';
import { readResult } from '../result/read-result.js';
import { readRunRecord } from '../result/read-run-record.js';
import type { MeasurePoint } from '../result/region-shape.js';
import { isOutdated, kindText, placeText, quantityText } from '../result/report/measure-words.js';
import type { KeptMeasure, PageLength, PageMeasure } from './protocol.js';
import { readSettled } from './result-mark.js';

/** Kinds of measures that lie on a line between two points of the page. */
export type LineKind = 'distance' | 'profile';

/**
 * What `lamella measure` finds between two points, in its words.
 *
 * @throws UsageError for points that are the same or outside of the picture; InputError when the result cannot be read.
 */
export function measureLine(
  folder: string,
  kind: LineKind,
  from: MeasurePoint,
  to: MeasurePoint,
): Promise<PageMeasure & { length: PageLength }> {
  return readSettled(folder, async () => {
    const result = await readResult(folder);
    const measured =
      kind === 'distance'
        ? await distanceBetween(result, from, to)
        : (await measureOpened(result, [{ kind, points: [from, to] }]))[0];
    // A profile begins with its length, a distance with that in the picture.
    const [{ value, unit }] = measured.quantities;
    return { ...pageMeasure(measured), length: { value: value ?? 0, unit: unit === 'mm' ? 'mm' : 'px' } };
  });
}

/** The measures that are kept with a result. */
export function keptMeasures(folder: string): Promise<KeptMeasure[]> {
  return readSettled(folder, async () => {
    const record = await readRunRecord(folder);
    const measures = await readMeasures(folder, record.size);
    return measures.map((measure) => keptMeasure(measure, stateOfMeasures(record)));
  });
}

/**
 * Keeps measures with a result, or drops some, as `lamella measure` does.
 *
 * @throws UsageError, InputError, OutputError; then nothing has changed.
 */
export async function changeMeasures(folder: string, edits: MeasureEdits): Promise<KeptMeasure[]> {
  const { measures } = await editMeasures(folder, edits);
  // All are of the state that the result has now: those that were not are taken anew.
  return measures.map((measure) => keptMeasure(measure, measure.state));
}

function keptMeasure(measure: StoredMeasure, state: string): KeptMeasure {
  const { id, points } = measure;
  return {
    ...pageMeasure(measure),
    id,
    isOutdated: isOutdated(measure, state),
    points: points ?? null,
    middle: middleOf(measure),
  };
}

function pageMeasure(measure: Omit<StoredMeasure, 'id'>): PageMeasure {
  return {
    kind: kindText(measure),
    place: placeText(measure),
    note: measure.note,
    quantities: measure.quantities.map((quantity) => ({
      name: quantity.name,
      text: quantityText(quantity),
      isKnown: quantity.value !== null,
    })),
    remarks: measure.remarks,
  };
}

function middleOf({ points, region }: MeasureRequest): [number, number] {
  if (region?.kind === 'rectangle') {
    return [region.x + (region.width - 1) / 2, region.y + (region.height - 1) / 2];
  }
  const all = points ?? region?.points ?? [[0, 0]];
  const mean = (axis: 0 | 1) => all.reduce((sum, point) => sum + point[axis], 0) / all.length;
  return [mean(0), mean(1)];
}

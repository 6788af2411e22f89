import { InputError } from '../errors.js';
import type { ApplyOptions } from '../mend/apply-mends.js';
import { lockResult } from '../mend/result-lock.js';
import { optionName } from '../option-names.js';
import {
  type MeasureRequest,
  readMeasures,
  type StoredMeasure,
  stateOfMeasures,
  writeMeasures,
} from '../result/measures-file.js';
import { outputInPlace } from '../result/output-failure.js';
import { readResult } from '../result/read-result.js';
import { drawMeasures } from '../result/report/draw-measures.js';
import type { RunRecord } from '../result/run-record.js';
import type { MeasureOptions } from './measure-options.js';
import { type Measured, measureOpened } from './measure-result.js';

/** What is done to the measures of a result. */
export interface MeasureEdits {
  /** Measured and added, in this order. */
  add?: readonly MeasureRequest[];
  /** Ids of those to be removed. */
  drop?: readonly number[];
}

/** The measures of a result after an edit. */
export interface MeasuresOutcome {
  /** All that are kept with the result. */
  measures: StoredMeasure[];
  /** Those that were added, with their profiles. */
  added: (Measured & { id: number })[];
  /** Ids of those that were measured anew, because the depth had changed since. */
  renewed: number[];
}

/**
 * Measures a result and keeps the values with it, in measures.json and in report.html. Measures of before whose depth has
 * changed, as when a mend was applied or undone, are taken anew, with the lengths that they were taken with. While it works nobody
 * else mends the result.
 *
 * @throws UsageError for a request or option that is wrong, or an id that is none; InputError when the result cannot be read;
 *   OutputError when it cannot be written; InterruptedError when stopped. Then nothing has changed.
 */
export async function editMeasures(
  folder: string,
  { add = [], drop = [] }: MeasureEdits,
  given: Partial<MeasureOptions> = {},
  { signal, onWait }: Pick<ApplyOptions, 'signal' | 'onWait'> = {},
): Promise<MeasuresOutcome> {
  // Before anything is locked, and for its messages.
  await readResult(folder);
  const lock = await lockResult(folder, { signal, onWait });
  try {
    const result = await readResult(folder);
    const { record } = result;
    const kept = await readMeasures(folder, record.size);
    const strange = drop.find((id) => !kept.some((measure) => measure.id === id));
    if (strange !== undefined) {
      throw new InputError(
        `No measure has the id ${strange}: ${optionName('list')} shows those that are kept with ${folder}.`,
      );
    }
    const renewed: number[] = [];
    const measures: StoredMeasure[] = [];
    for (const measure of kept) {
      if (drop.includes(measure.id)) continue;
      if (measure.state === stateOfMeasures(record)) {
        measures.push(measure);
        continue;
      }
      const [fresh] = await measureOpened(result, [requestOf(measure)], optionsOf(measure, record));
      measures.push(stored(fresh, measure.id));
      renewed.push(measure.id);
    }
    const next = Math.max(0, ...kept.map(({ id }) => id)) + 1;
    const added = (await measureOpened(result, add, given)).map((measure, i) => ({
      ...measure,
      id: next + i,
    }));
    measures.push(...added.map((measure) => stored(measure, measure.id)));
    if (add.length > 0 || drop.length > 0 || renewed.length > 0) {
      await writeMeasures(folder, record.size, measures);
      await drawMeasures(folder, record.size);
    }
    return { measures, added, renewed };
  } catch (error) {
    throw outputInPlace(error);
  } finally {
    await lock.release();
  }
}

function requestOf({ kind, points, region, plane, cutoff, note }: StoredMeasure): MeasureRequest {
  return { kind, points, region, plane, cutoff, note };
}

/** The options that give the lengths that a measure was taken with. */
function optionsOf(
  { mmPerPixel, mmPerDepth, scaleErrorPercent }: StoredMeasure,
  { frameSize, maps, stepMm }: RunRecord,
): Partial<MeasureOptions> {
  const isMm = maps.depth.unit === 'mm';
  const given =
    mmPerDepth === null || (isMm && mmPerDepth === 1) ? undefined : mmPerDepth * (isMm ? (stepMm ?? 1) : 1);
  return {
    scaleErrorPercent,
    ...(mmPerPixel !== null && { fieldWidthMm: mmPerPixel * frameSize.width }),
    ...(given !== undefined && { stepMm: given }),
  };
}

/** What is kept of a measure: the samples of a profile are in the depth map. */
function stored({ profile: _, ...measure }: Measured, id: number): StoredMeasure {
  return { ...measure, id };
}

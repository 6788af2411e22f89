import type { Result } from '../result/read-result.js';
import type { MeasurePoint } from '../result/region-shape.js';
import type { MeasureOptions } from './measure-options.js';
import { type Measured, measureOpened } from './measure-result.js';

/**
 * The distance of two points of a result that is read already: in the picture, across, along the axis and in space, each with its
 * uncertainty or why it cannot be known. Only the depth between them is read, and nothing is written: for a page
 * that shows it while a line is drawn. `editMeasures` keeps it.
 *
 * @param from, to Composite pixels; pixel centres at integers.
 * @throws UsageError for points outside of the picture or that are the same, and for lengths that contradict each other.
 */
export async function distanceBetween(
  result: Result,
  from: MeasurePoint,
  to: MeasurePoint,
  given: Partial<MeasureOptions> = {},
): Promise<Measured> {
  const [measured] = await measureOpened(result, [{ kind: 'distance', points: [from, to] }], given);
  return measured;
}

import { named, UsageError } from '../errors.js';
import type { SourceRule } from '../options/source-rule.js';
import type { RunRecord } from '../result/run-record.js';
import { findStackFrames } from '../trace/stack-frames.js';
import { mendFault } from './check-mends.js';
import { defaultFeatherPx } from './default-feather.js';
import { parseMendRegion, parseStroke } from './mend-region.js';
import type { Mend } from './mends-file.js';

/** A mend to be added: from a frame or by a rule, over a region or along a stroke. */
export interface MendAddition {
  from: { frame: number } | { rule: SourceRule };
  /** As `parseMendRegion` reads it, or the points of a stroke, as `parseStroke` does. */
  over: { region: string } | { along: string; widthPx: number };
  /** Default: `defaultFeatherPx` of the region. */
  featherPx?: number;
  note: string;
}

/**
 * The list with further mends at its end.
 *
 * @throws UsageError when one of them cannot be applied to the result.
 */
export async function addMends(
  mends: readonly Mend[],
  additions: readonly MendAddition[],
  record: RunRecord,
  framesFrom?: string,
): Promise<Mend[]> {
  const list = [...mends];
  const frames = additions.length > 0 ? await findStackFrames(record, framesFrom) : [];
  for (const { from, over, featherPx, note } of additions) {
    const region = 'along' in over ? parseStroke(over.along, over.widthPx) : parseMendRegion(over.region);
    const mend: Mend = {
      id: nextId(list),
      ...('rule' in from ? { frame: 0, rule: from.rule } : { frame: from.frame }),
      region,
      featherPx: featherPx ?? defaultFeatherPx(region),
      note,
      kept: true,
    };
    const fault = mendFault(mend, record, frames);
    if (fault !== undefined) throw new UsageError(fault);
    list.push(mend);
  }
  return list;
}

/** The list with some mends dropped and others kept. Throws UsageError for an id that is not on it. */
export function setKept(mends: readonly Mend[], drop: readonly number[], keep: readonly number[]): Mend[] {
  for (const id of [...drop, ...keep]) {
    if (!mends.some((mend) => mend.id === id)) {
      throw new UsageError(`There is no mend ${id}: ${named('list')} shows those there are.`);
    }
  }
  return mends.map((mend) => {
    if (drop.includes(mend.id)) return { ...mend, kept: false };
    return keep.includes(mend.id) ? { ...mend, kept: true } : mend;
  });
}

export function nextId(mends: readonly Mend[]): number {
  return mends.reduce((max, { id }) => Math.max(max, id), 0) + 1;
}

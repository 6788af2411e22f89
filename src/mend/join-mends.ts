import { nextId } from './edit-mends.js';
import type { Mend } from './mends-file.js';

/**
 * Joins two edits of one list, so that neither is lost: `own` was made from `base`, while others made `recorded` from
 * it. What only one of them changed is as that one left it. A mend that both changed, or both gave the same id, is
 * there twice: the others' first, one's own behind it under an id that is free.
 */
export function joinMends(
  base: readonly Mend[],
  own: readonly Mend[],
  recorded: readonly Mend[],
): readonly Mend[] {
  const before = new Map(base.map((mend) => [mend.id, mend]));
  const mine = new Map(own.map((mend) => [mend.id, mend]));
  const list: Mend[] = [];
  for (const theirs of recorded) {
    const was = before.get(theirs.id);
    const isTheirs = !isSame(was, theirs);
    const wanted = mine.get(theirs.id);
    if (isTheirs) list.push(theirs);
    else if (wanted) list.push(wanted);
  }
  for (const mend of own) {
    const isMine = !isSame(before.get(mend.id), mend);
    if (!isMine || list.some((other) => isSame(other, mend))) continue;
    const isTaken = list.some(({ id }) => id === mend.id);
    list.push(isTaken ? { ...mend, id: nextId([...list, ...own, ...base]) } : mend);
  }
  return list;
}

function isSame(first: Mend | undefined, second: Mend | undefined): boolean {
  return textOf(first) === textOf(second);
}

/** A mend by value: lists come from files and pages, with their fields in any order. */
function textOf(mend: Mend | undefined): string {
  if (!mend) return '';
  const { id, frame, rule, region, featherPx, note, kept } = mend;
  return JSON.stringify([id, frame, rule, region.kind, geometryOf(region), featherPx, note, kept]);
}

function geometryOf(region: Mend['region']): unknown[] {
  if (region.kind === 'polygon') return region.points;
  if (region.kind === 'stroke') return [region.widthPx, ...region.points];
  return [region.x, region.y, region.width, region.height];
}

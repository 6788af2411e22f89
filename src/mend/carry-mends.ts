import { copyFile, rm, stat } from 'node:fs/promises';
import { join } from 'node:path';
import { InputError } from '../errors.js';
import { optionName } from '../option-names.js';
import { readRunRecord } from '../result/read-run-record.js';
import type { RunRecord } from '../result/run-record.js';
import { errorCode } from '../stack/file-error.js';
import { countOf } from '../stack/words.js';
import { type Mend, mendsFileName, readMends, writeMends } from './mends-file.js';

/** Keeps a list of mends that does not fit the picture beside it, in the format of `mends.json`. */
export const earlierMendsFileName = 'earlier-mends.json';

type Merged = Pick<RunRecord, 'size' | 'crop' | 'anchorNumber' | 'frames'>;

/**
 * Hands the mends of a result on to the merge that replaces it, for they are manual work: they are put on its list,
 * to be applied when their owner has seen the new picture. Frames are identified by content, so that a mend follows its
 * frame to another number. A mend whose frame is not used any more goes on the list as dropped, and so do all
 * when the picture is framed differently, for their regions then cover other pixels; a list for a picture of another size, or
 * one that cannot be read, is kept aside in `earlier-mends.json`. May be called again when the old result has changed.
 *
 * @param old The result that is replaced; nothing happens when it has no mends.
 * @param dir Folder of the new result.
 * @returns A sentence for the user; undefined when there is nothing to report.
 */
export async function carryMends(old: string, dir: string, merged: Merged): Promise<string | undefined> {
  for (const name of [mendsFileName, earlierMendsFileName]) await rm(join(dir, name), { force: true });
  await copyIfThere(join(old, earlierMendsFileName), join(dir, earlierMendsFileName));
  let before: RunRecord;
  let mends: Mend[];
  try {
    before = await readRunRecord(old);
    mends = await readMends(old, before.size);
  } catch (error) {
    if (!(error instanceof InputError)) throw error;
    const isThere = await copyIfThere(join(old, mendsFileName), join(dir, earlierMendsFileName));
    return isThere
      ? `The mends of the earlier result cannot be read: their file is kept as ${earlierMendsFileName}.`
      : undefined;
  }
  if (mends.length === 0) return undefined;
  const summary = `The earlier result has ${countOf(mends.length, 'mend')}`;
  if (before.size.width !== merged.size.width || before.size.height !== merged.size.height) {
    await copyFile(join(old, mendsFileName), join(dir, earlierMendsFileName));
    return `${summary} for a picture of ${before.size.width} x ${before.size.height} pixels, not of the size of this one: kept in ${earlierMendsFileName}.`;
  }
  const isFramedAlike = isSameFraming(before, merged);
  const list = mends.map((mend) => followFrame(mend, before, merged, isFramedAlike));
  await writeMends(dir, merged.size, list);
  const lost = list.filter((mend, i) => mends[i].kept && !mend.kept).length;
  const reason = isFramedAlike
    ? `${lost === list.length ? 'their frames are' : `the frames of ${lost} are`} not used any more`
    : 'the picture is framed differently, and their regions cover other pixels';
  const dropped =
    lost === 0
      ? ''
      : ` As ${reason}, ${isFramedAlike ? 'these are' : 'they are'} dropped until you give ${optionName('keep')}.`;
  const them = mends.length === 1 ? ['it is', 'it'] : ['they are', 'them'];
  return `${summary}: ${them[0]} on the list of this one, and not yet in its picture. Look at it, and save ${them[1]} there.${dropped}`;
}

function isSameFraming(before: Merged, merged: Merged): boolean {
  const anchorOf = ({ frames, anchorNumber }: Merged) =>
    frames.find(({ number }) => number === anchorNumber)?.sha256;
  const corner = ({ crop }: Merged) => `${crop.x} ${crop.y}`;
  return anchorOf(before) === anchorOf(merged) && corner(before) === corner(merged);
}

function followFrame(mend: Mend, before: Merged, merged: Merged, isFramedAlike: boolean): Mend {
  if (mend.rule !== undefined) return { ...mend, kept: mend.kept && isFramedAlike };
  const sha256 = before.frames.find(({ number }) => number === mend.frame)?.sha256;
  const same = merged.frames.filter((frame) => frame.used && frame.sha256 === sha256);
  const frame = same.find(({ number }) => number === mend.frame) ?? same[0];
  return {
    ...mend,
    frame: frame?.number ?? mend.frame,
    kept: mend.kept && frame !== undefined && isFramedAlike,
  };
}

/** A pipe or a device under the name of the list holds no mends, and a copy of it would not come to its end. */
async function copyIfThere(from: string, to: string): Promise<boolean> {
  try {
    if (!(await stat(from)).isFile()) return false;
    await copyFile(from, to);
    return true;
  } catch (error) {
    if (errorCode(error) === 'ENOENT') return false;
    throw error;
  }
}

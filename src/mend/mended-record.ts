import type { RunRecord } from '../result/run-record.js';
import type { Mend } from './mends-file.js';

/** run.json of a mended result: the fields of a merge, brought up to date, and the mends that are in the picture. */
export type MendedRecord = RunRecord & {
  mends?: {
    appliedAt: string;
    programVersion: string;
    applied: Mend[];
    /** The files of the merge in the subfolder `unmended`; absent from results of earlier programs. */
    unmended?: UnmendedFile[];
  };
};

/** A file of the merge, kept so that all mends can be undone. */
export interface UnmendedFile {
  /** Bare name. */
  file: string;
  sizeBytes: number;
  /** Hexadecimal. */
  sha256: string;
}

/** The mends that are in the picture of a result. */
export function appliedMends(record: RunRecord): readonly Mend[] {
  const { mends } = record as MendedRecord;
  return Array.isArray(mends?.applied) ? mends.applied : [];
}

export type MendState = 'applied' | 'waiting' | 'dropped' | 'dropped, still in the picture';

/** Whether a recorded mend is in the picture as it is recorded. */
export function mendState(mend: Mend, applied: readonly Mend[]): MendState {
  const match = applied.find(({ id }) => id === mend.id);
  const same =
    match !== undefined &&
    JSON.stringify({ ...match, kept: true }) === JSON.stringify({ ...mend, kept: true });
  if (!mend.kept) return match ? 'dropped, still in the picture' : 'dropped';
  return same ? 'applied' : 'waiting';
}

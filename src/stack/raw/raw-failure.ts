import { systemFailureOf } from '../../system-failure.js';
import { fileErrorReason } from '../file-error.js';
import { RawJobError } from './raw-workers.js';

/** LibRaw's codes (libraw_const.h). */
const unknownFile = -2;
const outOfMemory = -100_007;

/**
 * Why a raw file cannot be used, as a clause that completes "NAME ...", with what to do. Failures of the machine and of
 * the program are thrown.
 */
export function rawFailureReason(error: unknown): string {
  const failure = systemFailureOf(error);
  if (failure) throw failure;
  if (!(error instanceof RawJobError)) throw error;
  const { message, code, systemCode } = error.failure;
  if (systemCode !== undefined) {
    return `cannot be read: ${fileErrorReason(Object.assign(new Error(message), { code: systemCode }))}`;
  }
  if (code === unknownFile) {
    return 'is no raw file that LibRaw knows: its camera may be newer, or the file is damaged. Copy it again from the card; else convert it to DNG, or develop it to 16-bit TIFF';
  }
  if (code === outOfMemory || /memory/i.test(message))
    return `is too large to be developed in 2 GB (${message})`;
  return `is cut short or damaged (${message}): copy it again from the card`;
}

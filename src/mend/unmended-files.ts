import { stat } from 'node:fs/promises';
import { join } from 'node:path';
import sharp from 'sharp';
import { InputError } from '../errors.js';
import type { RunRecord } from '../result/run-record.js';
import {
  listShape,
  objectShape,
  resultFileShape,
  type Shape,
  sha256Shape,
  wholeShape,
} from '../result/shape.js';
import { fileErrorReason, firstLine } from '../stack/file-error.js';
import { hashFile } from '../stack/hash-file.js';
import { hasPictureEnd } from '../stack/picture-end.js';
import { requireRegularFile } from '../stack/regular-file.js';
import type { MendedRecord, UnmendedFile } from './mended-record.js';
import { mendedFiles, mergedFolder, unmendedFolder } from './result-files.js';

const endIsGone = 'the end of the file is gone';

const unmendedShape: Shape<UnmendedFile[]> = listShape(
  objectShape<UnmendedFile>({
    file: resultFileShape,
    sizeBytes: wholeShape(0),
    sha256: sha256Shape,
  }),
);

/**
 * Size and hash of the files of a merge that a mend replaces, for the record of the mended result. A report that was
 * removed is passed over.
 *
 * @param merged The folder that holds them.
 * @throws InputError for one that cannot be read or lacks its end.
 */
export async function describeUnmended(merged: string, record: RunRecord): Promise<UnmendedFile[]> {
  const files: UnmendedFile[] = [];
  for (const file of mendedFiles(record)) {
    const path = join(merged, file);
    const found = await stat(path).catch(() => undefined);
    if (!found) continue;
    // Not every file is read for the mend: what is put aside as the merge's own must be whole.
    const isWhole = await hasPictureEnd(path).catch((error: unknown) => {
      throw lost(path, fileErrorReason(error));
    });
    if (!isWhole) throw lost(path, endIsGone);
    files.push({ file, sizeBytes: found.size, sha256: await hashFile(path) });
  }
  return files;
}

/**
 * The folder with the files of the merge itself, all of them checked to be as they were when they were put aside: by
 * size and hash as run.json records them, or, where an earlier program has recorded none, by being readable to
 * their end. A result that was never mended is its own merge, and nothing is checked.
 *
 * @param record run.json of the result as it stands.
 * @throws InputError that names the first file that is missing or has changed.
 */
export async function requireUnmended(folder: string, record: RunRecord): Promise<string> {
  const merged = await mergedFolder(folder);
  const { mends } = record as MendedRecord;
  if (merged === folder) {
    if (mends !== undefined) throw lost(join(folder, unmendedFolder, 'run.json'), 'it is missing');
    return folder;
  }
  if (mends?.unmended === undefined) {
    await requireReadable(merged, record);
    return merged;
  }
  const fault = unmendedShape(mends.unmended, 'mends.unmended');
  if (fault) {
    throw new InputError(
      `${join(folder, 'run.json')} is damaged: Expected ${fault.expected} for ${fault.field}. Merge the stack again.`,
    );
  }
  for (const file of mends.unmended) await requireSame(merged, file);
  return merged;
}

async function requireSame(merged: string, { file, sizeBytes, sha256 }: UnmendedFile): Promise<void> {
  const path = join(merged, file);
  const found = await stat(path).catch((error: unknown) => {
    throw lost(path, fileErrorReason(error));
  });
  if (found.isFile() && found.size !== sizeBytes) {
    throw lost(path, `it has ${found.size} bytes instead of ${sizeBytes}`);
  }
  if ((await hashFile(path)) !== sha256) {
    throw lost(path, 'its SHA-256 differs from the one in run.json');
  }
}

async function requireReadable(merged: string, { size, composite, maps }: RunRecord): Promise<void> {
  const { depth, depthPng, sources, confidence, coverage } = maps;
  for (const { file } of [composite, depth, depthPng, sources, confidence, coverage]) {
    const path = join(merged, file);
    try {
      await requireRegularFile(path);
      const picture = sharp(path, { failOn: 'warning', limitInputPixels: false });
      const { width, height } = await picture.metadata();
      if (width !== size.width || height !== size.height) {
        throw new Error(`it holds ${width} x ${height} pixels instead of ${size.width} x ${size.height}`);
      }
      await picture.stats();
      if (!(await hasPictureEnd(path))) throw new Error(endIsGone);
    } catch (error) {
      throw lost(path, fileErrorReason(error) || firstLine(error), error);
    }
  }
}

function lost(path: string, reason: string, cause?: unknown): InputError {
  return new InputError(
    `${path} is not as the merge made it: ${reason}. Nothing was changed. Put the file back from a copy, or merge the stack again.`,
    { cause },
  );
}

import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { InputError } from '../errors.js';
import { flatCopy } from '../mend/flat-copy.js';
import { Raster } from '../mend/raster.js';
import type { RunRecord } from '../result/run-record.js';

/** The maps of a result that a relief is made of, read by rows: memory does not follow their size. */
export interface ResultRasters {
  /** Float, units of depth.tif. */
  depth: Raster;
  /** Grey, 8 bits. */
  confidence: Raster;
  /** Colours of the classes, 8 bits. */
  coverage: Raster;
}

/**
 * Opens the maps for as long as `work` takes. What cannot be read by parts is unpacked to a folder of temporary files
 * that goes with the call.
 *
 * @throws InputError when a map is missing, damaged or not of the recorded size; OutputError when the disk is full.
 */
export async function withResultRasters<T>(
  folder: string,
  record: RunRecord,
  work: (rasters: ResultRasters) => Promise<T> | T,
): Promise<T> {
  const { maps } = record;
  const scratch = await mkdtemp(join(tmpdir(), 'lamella-relief-'));
  const opened: Raster[] = [];
  const open = async (file: string, content: 'grey8' | 'colour' | 'depth'): Promise<Raster> => {
    const path = join(folder, file);
    const raster =
      content === 'depth'
        ? await openDepth(path)
        : await flatCopy(path, content, join(scratch, `${content}.tif`));
    opened.push(raster);
    const { width, height } = record.size;
    if (raster.width !== width || raster.height !== height) {
      throw new InputError(
        `Expected ${width} x ${height} pixels for ${path} but received ${raster.width} x ${raster.height}. Merge the stack again.`,
      );
    }
    return raster;
  };
  try {
    return await work({
      depth: await open(maps.depth.file, 'depth'),
      confidence: await open(maps.confidence.file, 'grey8'),
      coverage: await open(maps.coverage.file, 'colour'),
    });
  } finally {
    for (const raster of opened) await raster.close();
    await rm(scratch, { recursive: true, force: true });
  }
}

async function openDepth(path: string): Promise<Raster> {
  let raster: Raster | undefined;
  try {
    raster = await Raster.open(path);
  } catch (error) {
    throw new InputError(`Cannot read ${path}: it is missing or damaged. Merge the stack again.`, {
      cause: error,
    });
  }
  if (raster?.bits === 32 && raster.channels === 1) return raster;
  await raster?.close();
  throw new InputError(
    `Expected uncompressed floats for ${path}, as a merge writes them, but received something else. Merge the stack again.`,
  );
}

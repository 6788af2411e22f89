import { join } from 'node:path';
import sharp from 'sharp';
import { bandsOf, type MapRows } from '../result/rows.js';
import type { RunFrame, RunRecord } from '../result/run-record.js';
import { writeComposite } from '../result/write-composite.js';
import { exifBlock } from '../stack/parse-exif.js';
import { openRegularFile } from '../stack/regular-file.js';
import { exifBlockOfTiff } from '../stack/tiff-exif.js';
import type { WorkingCopy } from './working-copy.js';

/**
 * Writes the mended composite into `dir`, with the profile and the EXIF of the unmended one; a TIFF as a merge writes it
 * lies there already.
 *
 * @param from Folder of the unmended composite.
 * @returns Its profile.
 */
export async function writeMendedComposite(
  from: string,
  dir: string,
  { composite: { file }, preview }: RunRecord,
  { picture }: WorkingCopy,
  software: string,
  signal?: AbortSignal,
): Promise<Buffer | undefined> {
  const path = join(from, file);
  const { exif, icc, format } = await sharp(path, { limitInputPixels: false }).metadata();
  if (picture.isInPlace) return icc;
  await writeComposite(dir, picture, {
    format: file.endsWith('.png') ? 'png' : file.endsWith('.jpg') ? 'jpg' : 'tif',
    isPreview: preview !== undefined,
    icc,
    exif: exif ? exifBlock(exif) : format === 'tiff' ? await tiffExif(path) : undefined,
    software,
    signal,
  });
  return icc;
}

async function tiffExif(path: string): Promise<Buffer | undefined> {
  const handle = await openRegularFile(path);
  try {
    return await exifBlockOfTiff(handle);
  } finally {
    await handle.close();
  }
}

/** The frames with the shares that they have by the map of sources. */
export function sharesOf(frames: readonly RunFrame[], { width, height, sources }: MapRows): RunFrame[] {
  const counts = new Uint32Array(65536);
  for (const [top, bottom] of bandsOf(height)) {
    const band = sources(top, bottom);
    for (let i = 0; i < band.length; i++) counts[band[i]]++;
  }
  return frames.map((frame) => ({
    ...frame,
    sharePercent: (100 * counts[frame.number]) / (width * height),
  }));
}

import { join } from 'node:path';
import { systemFailureOf } from '../../system-failure.js';
import { fileErrorReason } from '../file-error.js';
import type { FrameExif } from '../frame.js';
import { fileMarkOf } from '../frame-identity.js';
import { type Inspected, tooManyPixels } from '../inspect-file.js';
import { parseExif } from '../parse-exif.js';
import { openRegularFile } from '../regular-file.js';
import { whiteOf } from './development.js';
import type { LibRawMetadata } from './libraw.js';
import { lacksSamples } from './missing-samples.js';
import { exifBlockOfRaw, exifOfLibRaw } from './raw-exif.js';
import { rawFailureReason } from './raw-failure.js';
import { rawWorkers } from './raw-workers.js';
import { sensorCrop } from './sensor-size.js';

/** EXIF orientation by what LibRaw does to the sensor's picture (bits 1 mirrored, 2 upside down, 4 transposed). */
const orientationOfFlip = [1, 2, 4, 3, 5, 8, 6, 7];

/**
 * Inspects a camera raw file: what LibRaw and its EXIF say of it, without its pixels.
 *
 * @throws UsageError when LibRaw is not installed; never for the content of the file.
 */
export async function inspectRaw(folder: string, name: string, maxPixels: number): Promise<Inspected> {
  const path = join(folder, name);
  const unusable = (reason: string, isLost: boolean): Inspected => ({
    kind: 'unusable',
    name,
    reason,
    isLost,
  });
  try {
    const handle = await openRegularFile(path);
    try {
      const stats = await handle.stat({ bigint: true });
      if (stats.size === 0n) return unusable('is empty (0 bytes)', true);
      const metadata = await rawWorkers.run({ kind: 'identify', path });
      if (await lacksSamples(handle)) {
        return unusable('is cut short or damaged (samples are missing): copy it again from the card', true);
      }
      const crop = sensorCrop(metadata);
      const size =
        (metadata.flip & 4) !== 0
          ? { width: crop.height, height: crop.width }
          : { width: crop.width, height: crop.height };
      if (size.width * size.height > maxPixels) return unusable(tooManyPixels(size, maxPixels), false);
      const known = exifOfLibRaw(metadata);
      const block = await exifBlockOfRaw(handle, known);
      const exif: FrameExif = { ...known, ...(block && parseExif(block)) };
      return {
        kind: 'photograph',
        photograph: {
          ...{ path, name, sizeBytes: Number(stats.size), modifiedMs: Number(stats.mtimeNs) / 1e6 },
          fileMark: fileMarkOf(stats),
          size,
          bits: 16,
          channels: metadata.colors === 1 ? 1 : 3,
          hasAlpha: false,
          format: 'raw',
          orientation: orientationOfFlip[metadata.flip & 7],
          exif,
          pages: 1,
          raw: {
            white: whiteOf(metadata),
            crop,
            ...(isColourUnknown(metadata) && { isColourUnknown: true }),
          },
        },
      };
    } finally {
      await handle.close();
    }
  } catch (error) {
    const failure = systemFailureOf(error);
    if (failure) throw failure;
    if (error instanceof Error && 'code' in error)
      return unusable(`cannot be read: ${fileErrorReason(error)}`, true);
    return unusable(rawFailureReason(error), true);
  }
}

function isColourUnknown({ colors, color_data: { rgb_cam } }: LibRawMetadata): boolean {
  return (
    colors === 3 &&
    rgb_cam.every((row, i) => row.slice(0, 3).every((value, j) => value === (i === j ? 1 : 0)))
  );
}

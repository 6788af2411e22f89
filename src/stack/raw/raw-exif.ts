import type { FileHandle } from 'node:fs/promises';
import sharp from 'sharp';
import type { FrameExif } from '../frame.js';
import { exifBlock } from '../parse-exif.js';
import { exifBlockOfTiff, exifBlockOfValues } from '../tiff-exif.js';
import type { LibRawMetadata } from './libraw.js';

/** Offset in a RAF file of two big-endian numbers: offset and length of its JPEG. */
const rafMark = 'FUJIFILMCCD-RAW';
const rafJpegAt = 84;
/** EXIF stands in front of a JPEG and is shorter than this. */
const jpegHeadBytes = 131_072;

/**
 * The EXIF block of an open raw file: of its own directories where it is built on TIFF, of the JPEG in a RAF; of other
 * files one that is made of `known`.
 */
export async function exifBlockOfRaw(handle: FileHandle, known: FrameExif): Promise<Buffer | undefined> {
  const own = (await exifBlockOfTiff(handle)) ?? (await exifBlockOfRaf(handle));
  return own ?? exifBlockOfValues(known);
}

async function exifBlockOfRaf(handle: FileHandle): Promise<Buffer | undefined> {
  const head = Buffer.alloc(rafJpegAt + 8);
  const { bytesRead } = await handle.read(head, 0, head.length, 0);
  if (bytesRead < head.length || !head.toString('latin1').startsWith(rafMark)) return undefined;
  const [at, length] = [head.readUInt32BE(rafJpegAt), head.readUInt32BE(rafJpegAt + 4)];
  const jpeg = Buffer.alloc(Math.min(length, jpegHeadBytes));
  await handle.read(jpeg, 0, jpeg.length, at);
  const metadata = await sharp(jpeg, { failOn: 'none' })
    .metadata()
    .catch(() => undefined);
  return metadata?.exif && exifBlock(metadata.exif);
}

/** What LibRaw reads of a photograph; a zero stands for what it does not know. */
export function exifOfLibRaw(metadata: LibRawMetadata): FrameExif {
  const { camera_make, camera_model, shutter, aperture, iso_speed, focal_len, timestamp, lens } = metadata;
  const taken = new Date(timestamp * 1000);
  return {
    ...(timestamp > 0 && { takenMs: asIfUtc(taken), hasSubSeconds: false }),
    ...(shutter > 0 && { exposureS: shutter }),
    ...(aperture > 0 && { fNumber: aperture }),
    ...(iso_speed > 0 && { iso: iso_speed }),
    ...(focal_len > 0 && { focalLengthMm: focal_len }),
    ...(camera_make !== '' && { make: camera_make }),
    ...(camera_model !== '' && { model: camera_model }),
    ...(lens.Lens !== '' && { lens: lens.Lens }),
  };
}

/** LibRaw takes the camera's clock for local time; frames count it as if it ran on UTC. */
function asIfUtc(taken: Date): number {
  return Date.UTC(
    taken.getFullYear(),
    taken.getMonth(),
    taken.getDate(),
    taken.getHours(),
    taken.getMinutes(),
    taken.getSeconds(),
  );
}

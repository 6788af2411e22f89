import { copyFile, open } from 'node:fs/promises';
import { join } from 'node:path';
import sharp from 'sharp';
import type { PixelData } from '../image/image.js';
import { coverageClasses, coveragePercents } from '../result/coverage.js';
import { asOutputError } from '../result/output-failure.js';
import { writePng } from '../result/png-file.js';
import type { RunRecord } from '../result/run-record.js';
import { type Picture, writeComposite } from '../result/write-composite.js';
import { finiteRange, type ResultMaps, writeMaps } from '../result/write-maps.js';
import { exifBlock } from '../stack/exif.js';
import { exifBlockOfTiff } from '../stack/tiff-exif.js';
import type { PictureRegion } from '../trace/picture-region.js';
import { flatTiffOf } from './flat-tiff.js';

/**
 * Writes the mended composite into `dir`. A TIFF as a merge writes it is copied and overwritten in the changed
 * rectangles alone, so that all else of it stays byte for byte; another file is written anew with its profile and EXIF.
 *
 * @param from Folder of the unmended composite.
 * @param changed Rectangles outside of which no pixel changed.
 */
export async function writeMendedComposite(
  from: string,
  dir: string,
  record: RunRecord,
  picture: Picture & { icc?: Buffer | undefined },
  changed: readonly PictureRegion[],
  software: string,
  signal?: AbortSignal,
): Promise<void> {
  const { file } = record.composite;
  const { pixels, width, height, channels } = picture;
  const flat = file.endsWith('.tif') ? await flatTiffOf(join(from, file)) : undefined;
  const isSame =
    flat?.width === width &&
    flat.height === height &&
    flat.channels === channels &&
    flat.bits === pixels.BYTES_PER_ELEMENT * 8;
  if (flat && isSame) {
    await patchFlat(
      join(from, file),
      join(dir, file),
      flat.offset,
      pixels,
      width * channels,
      changed,
      channels,
    );
    return;
  }
  await writeComposite(dir, picture, {
    format: file.endsWith('.png') ? 'png' : file.endsWith('.jpg') ? 'jpg' : 'tif',
    icc: picture.icc,
    exif: await storedExif(join(from, file)),
    software,
    signal,
  });
}

/**
 * Writes the maps into `dir`. depth.png keeps its mapping while the depths fit it, so that its values outside the
 * mends stay too.
 *
 * @returns What run.json tells of them.
 */
export async function writeMendedMaps(
  from: string,
  dir: string,
  record: RunRecord,
  maps: ResultMaps,
  changed: readonly PictureRegion[],
  software: string,
  signal?: AbortSignal,
): Promise<RunRecord['maps']> {
  const { depth, depthPng, sources, confidence, coverage } = record.maps;
  const range = finiteRange(maps.depth);
  const { offset, scale } = depthPng;
  const fits = range && range.min >= offset + 0.5 * scale && range.max <= offset + 65535.5 * scale;
  const flat = await flatTiffOf(join(from, depth.file));
  if (!fits || flat?.bits !== 32 || flat.width !== maps.width || flat.height !== maps.height) {
    return writeMaps(dir, maps, { unit: depth.unit, software, signal });
  }
  const { width, height } = maps;
  await patchFlat(join(from, depth.file), join(dir, depth.file), flat.offset, maps.depth, width, changed, 1);
  const picture = { width, height, channels: 1, signal } as const;
  const rowOf =
    <T extends Uint8Array | Uint16Array>(map: T) =>
    (y: number) =>
      map.subarray(y * width, (y + 1) * width);
  const row = new Uint16Array(width);
  const depthRow = (y: number) => {
    for (let x = 0; x < width; x++) {
      const value = maps.depth[y * width + x];
      row[x] = Number.isFinite(value)
        ? Math.min(65535, Math.max(1, Math.round((value - offset) / scale)))
        : 0;
    }
    return row;
  };
  await writePng(join(dir, depthPng.file), { ...picture, bits: 16, row: depthRow });
  await writePng(join(dir, sources.file), { ...picture, bits: 16, row: rowOf(maps.sources) });
  await writePng(join(dir, confidence.file), { ...picture, bits: 8, row: rowOf(maps.confidence) });
  const palette = coverageClasses.map(({ rgb }) => rgb);
  await writePng(join(dir, coverage.file), { ...picture, bits: 8, row: rowOf(maps.coverage), palette });
  const percents = coveragePercents(maps.coverage);
  return {
    ...record.maps,
    depth: { ...depth, min: range.min, max: range.max },
    coverage: {
      ...coverage,
      classes: coverage.classes.map((entry) => ({ ...entry, percent: percents[entry.value] ?? 0 })),
    },
  };
}

async function patchFlat(
  from: string,
  to: string,
  offset: number,
  samples: PixelData | Float32Array,
  samplesPerRow: number,
  changed: readonly PictureRegion[],
  channels: number,
): Promise<void> {
  try {
    await copyFile(from, to);
    const handle = await open(to, 'r+');
    try {
      for (const { x, y, width, height } of changed) {
        for (let row = y; row < y + height; row++) {
          const start = row * samplesPerRow + x * channels;
          const part = samples.subarray(start, start + width * channels);
          const bytes = Buffer.from(part.buffer, part.byteOffset, part.byteLength);
          await handle.write(bytes, 0, bytes.length, offset + start * samples.BYTES_PER_ELEMENT);
        }
      }
      await handle.sync();
    } finally {
      await handle.close();
    }
  } catch (error) {
    throw asOutputError(error, to);
  }
}

async function storedExif(path: string): Promise<Buffer | undefined> {
  const { exif, format } = await sharp(path, { limitInputPixels: false }).metadata();
  if (exif) return exifBlock(exif);
  if (format !== 'tiff') return undefined;
  const handle = await open(path, 'r');
  try {
    return await exifBlockOfTiff(handle);
  } finally {
    await handle.close();
  }
}

import { join } from 'node:path';
import sharp from 'sharp';

/** How two results of the same stack differ. */
export interface ResultDifference {
  /** Part of the samples of the composites that lie within one level of 255. */
  compositeWithin: number;
  /** Median difference of depth where both have one, in the unit of depth.tif. */
  depthMedian: number;
  /** Part of the pixels with a confidence of half and more whose source frame is the same. */
  sourcesSame: number;
  /** Part of all pixels whose class of coverage is the same. */
  coverageSame: number;
}

async function samplesOf(folder: string, file: string): Promise<Uint16Array> {
  const picture = sharp(join(folder, file), { ignoreIcc: true });
  const { channels } = await picture.metadata();
  const { data } = await picture
    .toColourspace(channels === 1 ? 'grey16' : 'rgb16')
    .raw({ depth: 'ushort' })
    .toBuffer({ resolveWithObject: true });
  return new Uint16Array(data.buffer, data.byteOffset, data.byteLength / 2);
}

async function bytesOf(folder: string, file: string): Promise<Uint8Array> {
  return new Uint8Array(await sharp(join(folder, file), { ignoreIcc: true }).raw().toBuffer());
}

async function depthOf(folder: string): Promise<Float32Array> {
  const data = await sharp(join(folder, 'depth.tif')).toColourspace('b-w').raw({ depth: 'float' }).toBuffer();
  return new Float32Array(new Uint8Array(data).buffer);
}

function shareOf<Values extends ArrayLike<number>>(values: Values, isSo: (i: number) => boolean): number {
  let count = 0;
  for (let i = 0; i < values.length; i++) if (isSo(i)) count++;
  return count / Math.max(1, values.length);
}

/** Compares two result folders. */
export async function compareResults(first: string, second: string): Promise<ResultDifference> {
  const both = <Values>(read: (folder: string) => Promise<Values>) =>
    Promise.all([read(first), read(second)]);
  const composites = await both((folder) => bytesOf(folder, 'composite.tif'));
  const depths = await both(depthOf);
  const sources = await both((folder) => samplesOf(folder, 'sources.png'));
  const confidences = await both((folder) => bytesOf(folder, 'confidence.png'));
  const coverages = await both((folder) => bytesOf(folder, 'coverage.png'));
  const apart: number[] = [];
  depths[0].forEach((depth, i) => {
    const difference = Math.abs(depth - depths[1][i]);
    if (!Number.isNaN(difference)) apart.push(difference);
  });
  apart.sort((a, b) => a - b);
  const textured = [...sources[0].keys()].filter((i) => confidences[0][i] >= 128);
  return {
    compositeWithin: shareOf(composites[0], (i) => Math.abs(composites[0][i] - composites[1][i]) <= 1),
    depthMedian: apart[apart.length >> 1],
    sourcesSame: shareOf(textured, (k) => sources[0][textured[k]] === sources[1][textured[k]]),
    coverageSame: shareOf(coverages[0], (i) => coverages[0][i] === coverages[1][i]),
  };
}

import { readdir } from 'node:fs/promises';
import { join } from 'node:path';
import sharp from 'sharp';

const lanes = 2;

/**
 * Seconds, and seconds of processor time, to decode every frame of a folder to raw pixels, two at a time, and nothing
 * else. With `shrink` JPEG files are decoded to that part of their sides, which leaves little but the entropy decoding.
 */
export async function timeDecoding(
  folder: string,
  shrink: 1 | 2 | 4 | 8 = 1,
): Promise<{ wallS: number; cpuS: number }> {
  const files = (await readdir(folder)).sort();
  sharp.cache(false);
  sharp.concurrency(1);
  const ending = shrink === 1 ? '' : `[shrink=${shrink}]`;
  const started = performance.now();
  const before = process.cpuUsage();
  let next = 0;
  const lane = async () => {
    while (next < files.length)
      await sharp(join(folder, files[next++]) + ending)
        .raw()
        .toBuffer();
  };
  await Promise.all(Array.from({ length: lanes }, lane));
  const { user, system } = process.cpuUsage(before);
  return { wallS: (performance.now() - started) / 1000, cpuS: (user + system) / 1e6 };
}

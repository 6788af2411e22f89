import { readdir } from 'node:fs/promises';
import { join } from 'node:path';
import sharp from 'sharp';
import { alignTable } from '../align-table.js';
import { timeOpenCv } from './opencv-kernels.js';
import type { BenchOptions } from './options.js';
import { timeOurKernels } from './our-kernels.js';
import { makeStacks } from './stack.js';
import { milliseconds, ratio } from './table.js';

/** One picture through single steps, ours beside OpenCV's. */
export async function benchSteps(cache: string, { size, frames }: BenchOptions): Promise<void> {
  const [folder] = await makeStacks(cache, size, frames.slice(0, 1));
  const [first] = (await readdir(folder)).sort();
  const pixels = await sharp(join(folder, first)).raw().toBuffer();
  const bytes = await timeOpenCv(pixels, size, '8-bit');
  const floats = await timeOpenCv(pixels, size, 'float');
  const one = await timeOurKernels(pixels, size, 1);
  const two = await timeOurKernels(pixels, size, 2);
  const steps = [
    ['reduce', 'reduce (reduceFrameStrip | pyrDown)'],
    ['warp', 'warp (warpStrip, 6 taps | warpAffine, cubic)'],
    ['expand', 'expand (collapseStrip | pyrUp)'],
  ] as const;
  const head = ['one picture', 'ours, 1 thread', '2 threads', 'OpenCV 8-bit', 'OpenCV float'];
  const rows = steps.map(([step, name]) => [
    name,
    ...[one, two, bytes, floats].map((times) => milliseconds(times[step])),
    ratio(floats[step], one[step]),
    ratio(floats[step], two[step]),
  ]);
  console.log(alignTable([[...head, 'float / 1 thread', 'float / 2 threads'], ...rows]));
}

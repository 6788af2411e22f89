import { join } from 'node:path';
import { beforeAll, expect, it } from 'vitest';
import { applyMatrix, invertMatrix, type Matrix3 } from '../../src/image/transform.js';
import { merge } from '../../src/mend/merge.js';
import { readResult } from '../../src/result/read-result.js';
import {
  frameSize,
  innerPixels,
  placeStack,
  pngOf,
  type RenderedStack,
  readRgb16,
  renderPlane,
} from './small-stack.js';

const { width, height } = frameSize;
/** Half the swing of the pattern, 16-bit levels: a third of the frames' noise, too faint to draw sources to it. */
const faint = 130;
const inner = innerPixels(12);

let stack: RenderedStack;
let plain: Awaited<ReturnType<typeof mergeFiles>>;

async function mergeFiles(files: Record<string, Buffer>) {
  const { frames, out } = placeStack(files);
  await merge(frames, { out, crop: 'anchor', threads: 2 });
  const { record, readSources } = await readResult(out);
  return { record, sources: await readSources(), pixels: await readRgb16(join(out, 'composite.tif')) };
}

/** +1 and -1 in squares of 2 px, of the frame pixel nearest to (x, y). */
function checker(x: number, y: number): number {
  return (Math.floor(Math.round(x) / 2) + Math.floor(Math.round(y) / 2)) % 2 === 0 ? 1 : -1;
}

/** The transform of run.json, frame pixel to anchor pixel. */
function transformOf(number: number): Matrix3 {
  return plain.record.frames[number - 1].transform!;
}

/**
 * Marks one frame with the pattern where `isMarked` says so of the source named there, merges again, and measures
 * how much of the pattern the composite shows at the marked pixels: 1 = all of it.
 */
async function shownShare(number: number, isMarked: (source: number) => boolean): Promise<number> {
  const name = `000${number}.png`;
  const toAnchor = transformOf(number);
  const toFrame = invertMatrix(toAnchor);
  const pixels = await readRgb16(stack.files[name]);
  for (let i = 0; i < width * height; i++) {
    const x = i % width;
    const y = Math.floor(i / width);
    const [ax, ay] = applyMatrix(toAnchor, x, y).map(Math.round);
    if (ax < 0 || ay < 0 || ax >= width || ay >= height) continue;
    if (!isMarked(plain.sources[ay * width + ax])) continue;
    for (let c = 0; c < 3; c++) {
      pixels[i * 3 + c] = Math.max(0, Math.min(65535, pixels[i * 3 + c] + faint * checker(x, y)));
    }
  }
  const marked = await mergeFiles({ ...stack.files, [name]: await pngOf(pixels) });
  const places = inner.filter((i) => isMarked(plain.sources[i]));
  expect(places.length).toBeGreaterThan(2000);
  let shown = 0;
  for (const i of places) {
    const [x, y] = applyMatrix(toFrame, i % width, Math.floor(i / width));
    shown += checker(x, y) * (marked.pixels[i * 3 + 1] - plain.pixels[i * 3 + 1]);
  }
  return shown / (places.length * faint);
}

beforeAll(async () => {
  stack = await renderPlane({ format: 'png', bits: 16 });
  plain = await mergeFiles(stack.files);
});

it.each([2, 5])(
  'the composite shows what frame %i has where sources.png names it, and hardly elsewhere',
  async (number) => {
    const there = await shownShare(number, (source) => source === number);
    const away = await shownShare(number, (source) => source !== 0 && Math.abs(source - number) > 2);
    // Half of a source's weight at least, less what resampling takes from a pattern this fine.
    expect(there).toBeGreaterThan(0.4);
    expect(there).toBeLessThan(1.05);
    expect(Math.abs(away)).toBeLessThan(0.05);
  },
);

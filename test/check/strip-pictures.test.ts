import sharp from 'sharp';
import { expect, test } from 'vitest';
import { stripPicture } from '../../src/check/strip-pictures.js';
import { decodeFrame } from '../../src/stack/decode.js';
import { readStack } from '../../src/stack/read-stack.js';
import { makeFolder } from '../stack/pictures.js';
import { buildDng, mosaicOf } from '../stack/raw/dng.js';

const size = { width: 240, height: 160 };
/** Grey, so that a strip in colour shows the preview. */
const mosaic = mosaicOf(new Float32Array(240 * 160 * 3).fill(0.3), 240, 160);

async function dngWith(preview: { width: number; height: number } | undefined): Promise<Buffer> {
  if (!preview) return buildDng({ ...size, mosaic });
  const picture = sharp({ create: { ...preview, channels: 3, background: '#00c000' } });
  return buildDng({ ...size, mosaic, preview: { jpeg: await picture.jpeg().toBuffer(), ...preview } });
}

test.each([
  ['the preview that is in it', { width: 480, height: 320 }, true],
  ['its own pixels where it holds none', undefined, false],
  ['its own pixels where the preview is smaller than the strip', { width: 120, height: 80 }, false],
  ['its own pixels where the preview shows another part', { width: 480, height: 270 }, false],
] as const)('the strip shows of a raw file %s', async (_, preview, isGreen) => {
  const dng = await dngWith(preview);
  const { frames } = await readStack(makeFolder({ 'a.dng': dng, 'b.dng': dng }));
  const strip = await stripPicture(frames[0], await decodeFrame(frames[0], { shrink: 2 }));
  expect([strip.height, strip.width / strip.height]).toEqual([isGreen ? 96 : 80, 1.5]);
  const [red, green] = strip.pixels;
  expect(green - red > 100).toBe(isGreen);
});

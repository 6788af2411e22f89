import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import ExifReader from 'exifreader';
import sharp from 'sharp';
import { expect, it } from 'vitest';
import { merge } from '../../src/mend/merge.js';
import {
  convertFiles,
  frameSize,
  innerPixels,
  median,
  placeStack,
  readRgb16,
  renderPlane,
} from './small-stack.js';

const { width, height } = frameSize;

it('colour profile and EXIF of the anchor are carried over, its orientation is not', async () => {
  const rendered = await renderPlane({ format: 'jpg' });
  // Lying on their side and tagged so, as a camera turned upright writes them; rotate(270) undoes orientation 6.
  const turned = await convertFiles(rendered.files, 'jpg', (picture) =>
    picture
      .rotate(270)
      .keepExif()
      .withIccProfile('p3', { attach: true })
      .withMetadata({ orientation: 6 })
      .jpeg({ quality: 95, chromaSubsampling: '4:4:4' }),
  );
  const anchor = turned['0003.jpg'];
  const { icc, orientation } = await sharp(anchor).metadata();
  expect(icc!.length).toBeGreaterThan(300);
  expect(orientation).toBe(6);
  const anchorTags = ExifReader.load(anchor, { expanded: true }).exif!;
  expect(anchorTags.SubSecTimeOriginal?.description).toBe('280');

  const { frames, out } = placeStack(turned);
  for (const format of ['tif', 'png', 'jpg'] as const) {
    await merge(frames, { out, anchor: 3, crop: 'anchor', format, threads: 2, overwrite: true });
    const file = join(out, `composite.${format}`);
    const metadata = await sharp(file).metadata();
    expect(metadata).toMatchObject({ width, height });
    expect(metadata.orientation ?? 1).toBe(1);
    expect(metadata.icc!.equals(icc!)).toBe(true);
    const { exif } = ExifReader.load(readFileSync(file), { expanded: true });
    for (const name of [
      'Make',
      'Model',
      'DateTimeOriginal',
      'SubSecTimeOriginal',
      'FNumber',
      'LensModel',
    ] as const) {
      expect(exif![name]?.description, `${name} in ${format}`).toBe(anchorTags[name]?.description);
    }
    expect(exif!.Orientation?.value ?? 1).toBe(1);
  }
  // The picture stands upright: it is like the anchor before it was laid on its side, and unlike it turned by half.
  const composite = await readRgb16(join(out, 'composite.jpg'));
  const upright = await readRgb16(rendered.files['0003.jpg']);
  const last = width * height - 1;
  const awayBy = (placeOf: (i: number) => number) =>
    median(innerPixels(12).map((i) => Math.abs(composite[i * 3 + 1] - upright[placeOf(i) * 3 + 1])));
  expect(awayBy((i) => i)).toBeLessThan(0.5 * awayBy((i) => last - i));
});

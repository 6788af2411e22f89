import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { describe, expect, it } from 'vitest';
import { hasPictureEnd } from '../../src/stack/picture-end.js';
import { makeFolder } from './pictures.js';

const folder = makeFolder();
const path = join(folder, 'picture');

async function isWhole(bytes: Buffer): Promise<boolean> {
  writeFileSync(path, bytes);
  return hasPictureEnd(path);
}

const noise = {
  width: 64,
  height: 48,
  channels: 3,
  noise: { type: 'gaussian', mean: 128, sigma: 60 },
} as const;
const picture = () => sharp({ create: { ...noise, background: 'grey' } });
describe.each([
  ['a PNG', () => picture().png().toBuffer()],
  ['a PNG of 16 bits', () => picture().toColourspace('rgb16').png().toBuffer()],
  [
    'a PNG with EXIF',
    () =>
      picture()
        .withExif({ IFD0: { Make: 'Test' } })
        .png()
        .toBuffer(),
  ],
])('%s', (_name, make) => {
  it('is whole, also with bytes behind its end', async () => {
    const bytes = await make();
    expect(await isWhole(bytes)).toBe(true);
    expect(await isWhole(Buffer.concat([bytes, Buffer.from('more')]))).toBe(true);
  });

  it('lacks its end wherever it is cut', async () => {
    const bytes = await make();
    const cuts = new Set([
      ...Array.from({ length: 40 }, (_, i) => 1 + i),
      ...Array.from({ length: 60 }, (_, i) => i * 97),
    ]);
    for (const cut of cuts) {
      if (cut === 0 || cut > bytes.length - 8) continue;
      expect([cut, await isWhole(bytes.subarray(0, bytes.length - cut))]).toEqual([cut, false]);
    }
  });
});

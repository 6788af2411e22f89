import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { expect, it } from 'vitest';
import { resultFacts, stateOfResult } from '../../src/batch/result-state.js';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { makeResult } from '../mend/made-result.js';

async function exifBlock(): Promise<Buffer> {
  const camera = sharp({ create: { width: 8, height: 8, channels: 3, background: 'grey' } })
    .withExif({
      IFD0: { Make: 'Test' },
      IFD2: { DateTimeOriginal: '2031:05:06 07:08:09', LensModel: 'Lens 100' },
    })
    .jpeg();
  const { exif } = await sharp(await camera.toBuffer()).metadata();
  return exif!;
}

async function finished() {
  const { folder } = await makeResult({ exif: await exifBlock() });
  const record = await readRunRecord(folder);
  const facts = await resultFacts(folder, record, [record.composite.file]);
  return { folder, facts, path: join(folder, record.composite.file) };
}

it.each([1, 8, 40, 100])(
  'a composite that lost its last %d bytes, behind its pixels, is damaged',
  async (lost) => {
    const { folder, facts, path } = await finished();
    const whole = readFileSync(path);
    writeFileSync(path, whole.subarray(0, whole.length - lost));
    // The pixels are all there.
    await sharp(path, { failOn: 'truncated' }).stats();
    expect(await stateOfResult(folder, facts)).toMatchObject({
      state: 'damaged',
      fault: expect.stringContaining('composite.tif is cut short or damaged'),
    });
  },
);

it.each([
  ['uncompressed', { compression: 'none' }],
  ['smaller than it was', { compression: 'deflate' }],
  ['tiled, as BigTIFF', { compression: 'lzw', tile: true, bigtiff: true }],
] as const)('a composite that was retouched and saved %s is whole', async (_how, options) => {
  const { folder, facts, path } = await finished();
  const retouched = await sharp(readFileSync(path)).negate().blur(3).keepMetadata().tiff(options).toBuffer();
  writeFileSync(path, retouched);
  expect((await stateOfResult(folder, facts)).state).toBe('whole');
});

it.each(['png', 'jpg'] as const)(
  'a %s that lost its last byte is damaged, though the pixels of a PNG decode',
  async (kind) => {
    const { folder, facts } = await finished();
    const record = JSON.parse(readFileSync(join(folder, 'run.json'), 'utf8'));
    const path = join(folder, `composite.${kind}`);
    const picture = sharp(join(folder, record.composite.file));
    const whole = await (kind === 'png' ? picture.png() : picture.jpeg()).toBuffer();
    writeFileSync(
      join(folder, 'run.json'),
      JSON.stringify({ ...record, composite: { ...record.composite, file: `composite.${kind}` } }),
    );
    writeFileSync(path, whole);
    expect((await stateOfResult(folder, facts)).state).toBe('whole');
    writeFileSync(path, whole.subarray(0, -1));
    if (kind === 'png') await sharp(path, { failOn: 'truncated' }).stats();
    expect(await stateOfResult(folder, facts)).toMatchObject({
      state: 'damaged',
      fault: expect.stringContaining('cut short'),
    });
  },
);

it('a map that lost its last byte is damaged', async () => {
  const { folder, facts } = await finished();
  const path = join(folder, 'sources.png');
  writeFileSync(path, readFileSync(path).subarray(0, -1));
  expect((await stateOfResult(folder, facts)).state).toBe('damaged');
});

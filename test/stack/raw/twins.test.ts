import sharp from 'sharp';
import { beforeAll, describe, expect, it } from 'vitest';
import { type ReadStackOptions, readStack } from '../../../src/stack/read-stack.js';
import { makeFolder } from '../pictures.js';
import { buildDng, mosaicOf } from './dng.js';

const size = { width: 32, height: 24 };
const dng = buildDng({ ...size, mosaic: mosaicOf(new Float32Array(32 * 24 * 3).fill(0.3), 32, 24) });
let jpeg: Buffer;
let tiff: Buffer;

beforeAll(async () => {
  const picture = sharp({ create: { ...size, channels: 3, background: 'grey' } });
  jpeg = await picture.clone().jpeg().toBuffer();
  tiff = await picture.clone().tiff({ compression: 'lzw' }).toBuffer();
});

async function read(files: Record<string, Buffer>, options: ReadStackOptions = {}) {
  const { frames, notes, warnings } = await readStack(makeFolder(files), options);
  const texts = (told: typeof notes) => told.map(({ message }) => message);
  return { names: frames.map(({ name }) => name), notes: texts(notes), warnings: texts(warnings) };
}

describe('a raw file beside a JPEG of the same name', () => {
  const pairs = () => ({ 'F1.DNG': dng, 'F1.JPG': jpeg, 'f2.dng': dng, 'F2.JPG': jpeg });

  it('is used, which is said', async () => {
    const { names, notes, warnings } = await read(pairs());
    expect(names).toEqual(['F1.DNG', 'f2.dng']);
    expect(notes).toEqual([
      '2 JPEG files (F1.JPG and F2.JPG) ignored: the camera raw files of the same names are used. prefer jpeg uses the JPEG files.',
    ]);
    expect(warnings).toEqual([]);
  });

  it('gives way where the JPEG is preferred, which is said', async () => {
    const { names, notes } = await read(pairs(), { prefer: 'jpeg' });
    expect(names).toEqual(['F1.JPG', 'F2.JPG']);
    expect(notes).toEqual([
      '2 camera raw files (F1.DNG and f2.dng) ignored: the JPEG files of the same names are used, as prefer says.',
    ]);
  });

  it('gives way with all others where one of them cannot be read, for frames must be alike', async () => {
    const broken = { ...pairs(), 'f2.dng': Buffer.alloc(4000, 7) };
    const { names, warnings } = await read(broken);
    expect(names).toEqual(['F1.JPG', 'F2.JPG']);
    expect(warnings).toHaveLength(1);
    expect(warnings[0]).toMatch(
      /^The JPEG files of the same names are used instead of 2 camera raw files \(F1\.DNG and f2\.dng\): f2\.dng is no raw file that LibRaw knows/,
    );
    const asked = await read({ ...broken, 'f3.dng': dng }, { prefer: 'raw' });
    expect(asked.names).toEqual(['F1.DNG', 'f3.dng']);
    expect(asked.warnings[0]).toMatch(/^f2\.dng is left out: it is no raw file that LibRaw knows/);
  });
});

it('a raw file that was developed to a TIFF of the same name gives way', async () => {
  const { names, notes } = await read({ 'a.dng': dng, 'a.tif': tiff, 'b.dng': dng, 'b.tif': tiff });
  expect(names).toEqual(['a.tif', 'b.tif']);
  expect(notes).toEqual([
    '2 camera raw files (a.dng and b.dng) ignored: the photographs of the same names are used.',
  ]);
});

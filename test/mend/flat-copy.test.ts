import { existsSync, symlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { expect, it } from 'vitest';
import { InputError, OutputError } from '../../src/errors.js';
import { flatCopy } from '../../src/mend/flat-copy.js';
import { temporaryFolder } from '../result/temporary-folder.js';

it.runIf(existsSync('/dev/full'))('a copy that cannot be written is not blamed on the picture', async () => {
  const folder = temporaryFolder();
  const path = join(folder, 'map.png');
  await sharp({ create: { width: 300, height: 200, channels: 3, background: 'red' } })
    .png()
    .toFile(path);
  const copy = join(folder, 'copy.tif');
  symlinkSync('/dev/full', copy);
  const failed = flatCopy(path, 'grey8', copy);
  await expect(failed).rejects.toThrow(OutputError);
  await expect(failed).rejects.toThrow(`Cannot unpack ${path} to ${folder}`);
});

it('a picture that is damaged is named as such', async () => {
  const folder = temporaryFolder();
  const path = join(folder, 'map.png');
  writeFileSync(path, 'no picture');
  await expect(flatCopy(path, 'grey8', join(folder, 'copy.tif'))).rejects.toThrow(InputError);
});

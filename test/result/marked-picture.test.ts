import { readdirSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { writeMarkedPicture } from '../../src/result/marked-picture.js';
import { makeFolder } from '../stack/pictures.js';

test('a picture that is too large for a JPEG is refused with its option, and nothing is left', async () => {
  const folder = makeFolder();
  const picture = { pixels: new Uint8Array(70_000), width: 70_000, height: 1, channels: 1 } as const;
  const path = join(folder, 'wide.jpg');
  await expect(writeMarkedPicture(path, picture, 'Lamella test', { option: 'scaleBar' })).rejects.toThrow(
    `Cannot write ${path}: a JPEG holds 65535 pixels a side but the picture is 70000 x 1. Choose a name that ends in .png for scaleBar.`,
  );
  expect(readdirSync(folder)).toEqual([]);
});

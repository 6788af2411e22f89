import { join } from 'node:path';
import { expect, it } from 'vitest';
import { InputError } from '../../src/errors.js';
import { hashFile } from '../../src/stack/hash-file.js';
import { makeFolder } from './pictures.js';

it('hashes a file by SHA-256', async () => {
  // FIPS 180-2, appendices B.1 and B.3: "abc", and a million times "a".
  const folder = makeFolder({ abc: 'abc', million: 'a'.repeat(1_000_000) });
  expect(await hashFile(join(folder, 'abc'))).toBe(
    'ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad',
  );
  expect(await hashFile(join(folder, 'million'))).toBe(
    'cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0',
  );
  await expect(hashFile(join(folder, 'none'))).rejects.toThrow(InputError);
});

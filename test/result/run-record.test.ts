import { readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { InputError } from '../../src/errors.js';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { writeRunRecord } from '../../src/result/write-run-record.js';
import { sampleFrame, sampleRecord } from './sample-record.js';
import { temporaryFolder } from './temporary-folder.js';

/** What reading says of a record that was changed by `change` after it was written. */
async function readChanged(change: (record: Record<string, never>) => void): Promise<unknown> {
  const folder = temporaryFolder();
  const record = JSON.parse(JSON.stringify(sampleRecord()));
  change(record);
  writeFileSync(join(folder, 'run.json'), JSON.stringify(record));
  return readRunRecord(folder).catch((error: unknown) => error);
}

test('a record comes back as it was written, and nothing else is left in the folder', async () => {
  const folder = temporaryFolder();
  const leftOut = { used: false, leftOutReason: 'blurred by motion', transform: null, residualPx: null };
  const record = sampleRecord({
    frames: [sampleFrame(1), sampleFrame(2), sampleFrame(3, leftOut)],
    stepMm: 0.05,
    mmPerPixel: 0.0021,
    positionsMm: [0, 0.05, 0.11],
    warnings: ['Frame 3 was left out: blurred by motion.'],
  });
  await writeRunRecord(folder, record);
  expect(readdirSync(folder)).toEqual(['run.json']);
  expect(await readRunRecord(folder)).toEqual(record);
  expect(readFileSync(join(folder, 'run.json'), 'utf8')).toMatch(
    /^\{\n {2}"schema": "lamella-run",\n {2}"version": 1,/,
  );
});

test('fields that a later program of the same version added are passed over', async () => {
  expect(await readChanged((record) => Object.assign(record, { mood: 'good' }))).toMatchObject({
    mood: 'good',
  });
});

test('a record of a newer version is refused with what to do, whatever else it holds', async () => {
  const error = await readChanged((record) => Object.assign(record, { version: 2, frames: 'elsewhere' }));
  expect(error).toBeInstanceOf(InputError);
  expect((error as Error).message).toMatch(/version 2 .* up to 1\. Use a newer Lamella/);
});

test.each([
  ['the schema', (r) => Object.assign(r, { schema: 'other' }), /no result folder/],
  [
    'the version',
    (r) => Object.assign(r, { version: '1' }),
    /whole number of at least 1 for version but received "1"/,
  ],
  ['a missing field', (r) => delete r.crop, /an object for crop but received nothing/],
  [
    'a wrong unit',
    (r) => Object.assign(r.maps.depth, { unit: 'inch' }),
    /"mm" or "step" for maps\.depth\.unit but received "inch"/,
  ],
  [
    'a short matrix',
    (r) => Object.assign(r.frames[1], { transform: [1, 0] }),
    /a list of 9 for frames\[1\]\.transform/,
  ],
  [
    'NaN, which JSON writes as null',
    (r) => Object.assign(r.frames[0], { gainRatio: [null] }),
    /for frames\[0\]\.gainRatio\[0\] but received null/,
  ],
  [
    'a share above 100',
    (r) => Object.assign(r.frames[2], { sharePercent: 101 }),
    /from 0 to 100 for frames\[2\]\.sharePercent/,
  ],
  [
    'a file outside the folder',
    (r) => Object.assign(r.maps.sources, { file: '../../x.png' }),
    /bare name of a file for maps\.sources\.file/,
  ],
  [
    'a list for an object',
    (r) => Object.assign(r, { stagesMs: [] }),
    /an object for stagesMs but received \[\]/,
  ],
  // biome-ignore lint/suspicious/noExplicitAny: damage needs a record without a type.
] as [string, (record: any) => void, RegExp][])(
  'damage is told by place and value: %s',
  async (_, change, message) => {
    const error = await readChanged(change);
    expect(error).toBeInstanceOf(InputError);
    expect((error as Error).message).toMatch(message);
  },
);

test('folders and files that are no result are refused in words', async () => {
  const folder = temporaryFolder();
  await expect(readRunRecord(folder)).rejects.toThrow(/is no result folder/);
  await expect(readRunRecord(join(folder, 'missing'))).rejects.toThrow(InputError);
  writeFileSync(join(folder, 'run.json'), 'no JSON');
  await expect(readRunRecord(folder)).rejects.toThrow(InputError);
});

test('a record that could not be read back is not written', async () => {
  const folder = temporaryFolder();
  const record = sampleRecord({ wallMs: Number.NaN });
  await expect(writeRunRecord(folder, record)).rejects.toThrow(/wallMs/);
  expect(readdirSync(folder)).toEqual([]);
});

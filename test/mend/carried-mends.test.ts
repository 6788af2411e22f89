import { execFileSync } from 'node:child_process';
import { readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { applyMends } from '../../src/mend/apply-mends.js';
import { carryMends } from '../../src/mend/carry-mends.js';
import { type Mend, readMends, writeMends } from '../../src/mend/mends-file.js';
import { merge } from '../../src/mend/merge.js';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { openResult } from '../../src/result/result-folder.js';
import { writeRunRecord } from '../../src/result/write-run-record.js';
import { placeStack, renderPlane } from '../merge/small-stack.js';
import { temporaryFolder } from '../result/temporary-folder.js';

const size = { width: 120, height: 96 };
let frames: Record<string, Buffer>;
beforeAll(async () => {
  frames = (await renderPlane({ ...size, frames: 5, format: 'jpg', bits: 8 })).files;
});

function mendOf(id: number, frame: number): Mend {
  const region = { kind: 'rectangle', x: 30, y: 20, width: 20, height: 12 } as const;
  return { id, frame, region, featherPx: 4, note: `hair ${id}`, kept: true };
}

/** Frame and state of each mend on the list. */
async function listOf(folder: string, of = size): Promise<[number, number, boolean][]> {
  return (await readMends(folder, of)).map(({ id, frame, kept }) => [id, frame, kept]);
}

describe('mends of a result that another merge replaces', () => {
  test('stay on the list, follow their frame, and can be applied again', async () => {
    const place = placeStack(frames);
    const options = { out: place.out, anchor: 4, crop: 'anchor', overwrite: true, threads: 1 } as const;
    await merge(place.frames, options);
    await applyMends(place.out, [mendOf(1, 3), mendOf(2, 1), { ...mendOf(3, 2), kept: false }]);
    const mended = readFileSync(join(place.out, 'composite.tif'));

    const again = await merge(place.frames, options);
    expect(again.warnings.join()).toMatch(
      /has 3 mends: they are on the list of this one, and not yet in its picture. Look at it, and save them there\./,
    );
    expect((await readRunRecord(place.out)).warnings).toEqual(again.warnings);
    expect(readdirSync(place.out)).not.toContain('unmended');
    expect(await listOf(place.out)).toEqual([
      [1, 3, true],
      [2, 1, true],
      [3, 2, false],
    ]);
    await applyMends(place.out, await readMends(place.out, size));
    expect(readFileSync(join(place.out, 'composite.tif'))).toEqual(mended);

    // Without its first frame: the others have other numbers, and one mend has no frame.
    rmSync(join(place.frames, '0001.jpg'));
    const fewer = await merge(place.frames, { ...options, anchor: 3 });
    expect(fewer.warnings.join()).toMatch(/As the frames of 1 are not used any more, these are dropped/);
    expect(await listOf(place.out)).toEqual([
      [1, 2, true],
      [2, 1, false],
      [3, 1, false],
    ]);

    const moved = await merge(place.frames, { ...options, anchor: 2 });
    expect(moved.warnings.join()).toMatch(/framed differently.*dropped until you give keep/);
    expect((await listOf(place.out)).some(([, , kept]) => kept)).toBe(false);
  });

  test('are kept aside when the picture has another size, or nobody can read them', async () => {
    const place = placeStack(frames);
    const options = { out: place.out, crop: 'anchor', overwrite: true, threads: 1 } as const;
    await merge(place.frames, options);
    await writeMends(place.out, size, [mendOf(1, 3)]);
    const text = readFileSync(join(place.out, 'mends.json'), 'utf8');

    const cut = await merge(place.frames, { ...options, crop: 'common' });
    expect(cut.warnings.join()).toMatch(
      /1 mend for a picture of 120 x 96 pixels.*kept in earlier-mends\.json/,
    );
    expect(readFileSync(join(place.out, 'earlier-mends.json'), 'utf8')).toBe(text);
    const { size: cutSize } = await readRunRecord(place.out);
    expect(await listOf(place.out, cutSize)).toEqual([]);

    writeFileSync(join(place.out, 'mends.json'), '{ "torn');
    const torn = await merge(place.frames, options);
    expect(torn.warnings.join()).toMatch(/cannot be read: their file is kept as earlier-mends\.json/);
    expect(readFileSync(join(place.out, 'earlier-mends.json'), 'utf8')).toBe('{ "torn');
  });

  test.skipIf(process.platform === 'win32')(
    'are not waited for where a pipe has the name of their list',
    async () => {
      const out = join(temporaryFolder(), 'merged');
      await merge(placeStack(frames).frames, { out, crop: 'anchor', threads: 1 });
      for (const name of ['mends.json', 'earlier-mends.json']) {
        rmSync(join(out, name), { force: true });
        execFileSync('mkfifo', [join(out, name)]);
      }
      const dir = temporaryFolder();
      expect(await carryMends(out, dir, await readRunRecord(out))).toBeUndefined();
      expect(readdirSync(dir)).toEqual([]);
    },
  );

  test('are taken as they are at the moment of replacement', async () => {
    const out = join(temporaryFolder(), 'merged');
    const place = placeStack(frames);
    await merge(place.frames, { out, crop: 'anchor', threads: 1 });
    const record = await readRunRecord(out);
    const next = await openResult(out, { overwrite: true });
    await writeRunRecord(next.dir, record);
    expect(await carryMends(out, next.dir, record)).toBeUndefined();
    await writeMends(out, size, [mendOf(1, 2)]);
    await next.commit(async (old) => void (await carryMends(old, next.dir, record)));
    expect(await listOf(out)).toEqual([[1, 2, true]]);
  });
});

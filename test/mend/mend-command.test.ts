import { chmodSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { writeRunRecord } from '../../src/result/write-run-record.js';
import { runLamella } from '../cli/fake-system.js';
import { makeResult } from './made-result.js';

test('mends of which the list was lost are undone, and are not said to be listed', async () => {
  const { folder } = await makeResult();
  await runLamella('mend', folder, '--add', 'frame=3', '--region', '60,50,40,30');
  rmSync(join(folder, 'mends.json'));
  expect((await runLamella('mend', folder, '--undo')).stderr).toBe(
    'The unmended picture and maps are back. No mends are listed.\n',
  );
});

test('a mend is added, listed, dropped, kept and undone', async () => {
  const { folder } = await makeResult();
  const composite = () => readFileSync(join(folder, 'composite.tif'));
  const before = composite();
  const add = ['--add', 'frame=3', '--region', '60,50,40,30', '--feather', '12', '--note', 'left eye'];
  expect(await runLamella('mend', folder, ...add)).toEqual({
    exitCode: 0,
    stdout: '',
    stderr: '1 of 1 mend is in the picture.\n',
  });
  const mended = composite();
  expect(mended.equals(before)).toBe(false);
  const { stdout } = await runLamella('mend', folder, '--list');
  expect(stdout).toBe('1  frame 3  60,50,40,30  feather 12 px  applied  left eye\n');

  await runLamella('mend', folder, '--drop', '1');
  expect(composite().equals(before)).toBe(true);
  expect((await runLamella('mend', folder, '--list')).stdout).toContain('dropped');
  await runLamella('mend', folder, '--keep', '1');
  expect(composite().equals(mended)).toBe(true);

  expect((await runLamella('mend', folder, '--undo')).exitCode).toBe(0);
  expect(composite().equals(before)).toBe(true);
  expect((await runLamella('mend', folder, '--list')).stdout).toContain('waiting');
  await runLamella('mend', folder);
  expect(composite().equals(mended)).toBe(true);

  const polygon = ['--add', 'frame=1', '--region', '20,100 60,100 40,140'];
  const { stdout: json } = await runLamella('mend', folder, ...polygon, '--json');
  expect(JSON.parse(json).mends).toMatchObject([
    { id: 1, state: 'applied' },
    { id: 2, frame: 1, featherPx: 6, region: { kind: 'polygon' }, state: 'applied' },
  ]);
});

test.each([
  [['--add', 'frame=9', '--region', '1,2,3,4'], 2, 'there is no frame 9'],
  [['--add', 'frame=3', '--region', '210,2,30,4'], 2, 'leaves the picture of 220 x 170 pixels'],
  [
    ['--add', '12', '--region', '1,2,3,4'],
    2,
    'Expected frame=N, or rule=auto, select or weigh, for --add but received 12',
  ],
  [['--add', 'frame=3'], 2, 'Expected one --region or --along for each --add'],
  [['--add', 'frame=3', '--region', '1,2'], 2, 'for --region but received 1,2'],
  [['--add', 'frame=3', '--region', '60,50,9,9', '--feather', '-1'], 2, 'from 0 to 1000 px for --feather'],
  [['--feather', '9'], 2, 'Expected --add frame=N and --region with --feather'],
  [['--note', 'left eye'], 2, 'with --note but received --note alone'],
  [['--add', 'frame=3', '--along', '60,50 90,70'], 2, 'Expected --along and --width together'],
  [['--add', 'frame=3', '--region', '60,50,9,9', '--width', '4'], 2, 'Expected --along and --width together'],
  [
    ['--add', 'frame=3', '--along', '60,50 90', '--width', '4'],
    2,
    'one or more points "x,y x,y" for --along',
  ],
  [
    ['--add', 'frame=3', '--along', '60,50 230,70', '--width', '4'],
    2,
    'the point 230,70 of the stroke leaves',
  ],
  [['--add', 'frame=3', '--along', '60,50', '--width', '1'], 2, 'from 1.5 to 1000 px for --width'],
  [['--add', 'rule=best', '--region', '60,50,9,9'], 2, 'rule=auto, select or weigh, for --add'],
  [['--drop', '4'], 2, 'There is no mend 4'],
  [['--drop', 'x'], 2, 'for --drop but received x'],
  [['--list', '--undo'], 2, 'but received several'],
  [['--undo'], 3, 'is not mended: there is nothing to undo'],
  [['--frames-from', '/nowhere/at/all'], 3, 'is no folder'],
])('%j is refused and changes nothing', async (args, code, message) => {
  const { folder } = await makeResult();
  const before = readFileSync(join(folder, 'run.json'));
  const { exitCode, stderr } = await runLamella('mend', folder, ...args);
  expect(stderr).toContain(message);
  expect(exitCode).toBe(code);
  expect(readFileSync(join(folder, 'run.json')).equals(before)).toBe(true);
});

test('a recorded mend that cannot be applied is refused by its id', async () => {
  const { folder } = await makeResult();
  await runLamella('mend', folder, '--add', 'frame=3', '--region', '60,50,40,30');
  const path = join(folder, 'mends.json');
  writeFileSync(path, readFileSync(path, 'utf8').replace('"frame": 3', '"frame": 8'));
  const { exitCode, stderr } = await runLamella('mend', folder);
  expect(exitCode).toBe(3);
  expect(stderr).toContain('Mend 1 cannot be applied: there is no frame 8');
});

test('a frame that was skipped is told as such, and the others in spans', async () => {
  const { folder } = await makeResult();
  const record = await readRunRecord(folder);
  const frames = [1, 2, 5].map((number, i) => ({ ...record.frames[i], number }));
  await writeRunRecord(folder, { ...record, frames, options: { ...record.options, skip: [3] } });
  const add = (frame: number) =>
    runLamella('mend', folder, '--add', `frame=${frame}`, '--region', '60,50,40,30');
  expect((await add(3)).stderr).toContain('frame 3 was left out of the merge by --skip');
  expect((await add(4)).stderr).toContain('there is no frame 4 in this result. It has frames 1 to 2, 5.');
});

test.skipIf(process.getuid?.() === 0)(
  'a folder without permission is named, with what can be done',
  async () => {
    const { folder, parent } = await makeResult();
    chmodSync(parent, 0o555);
    try {
      const { exitCode, stderr } = await runLamella(
        'mend',
        folder,
        '--add',
        'frame=3',
        '--region',
        '60,50,40,30',
      );
      expect(exitCode).toBe(4);
      expect(stderr).toMatch(/you have no permission to write there\. Change the permission\.\n$/);
    } finally {
      chmodSync(parent, 0o755);
    }
  },
);

test('without mends there is nothing to do', async () => {
  const { folder } = await makeResult();
  const { exitCode, stderr } = await runLamella('mend', folder);
  expect(exitCode).toBe(0);
  expect(stderr).toContain('No mends are recorded');
});

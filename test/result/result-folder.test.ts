import { spawn, spawnSync } from 'node:child_process';
import {
  chmodSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  readlinkSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { basename, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { expect, test } from 'vitest';
import { InterruptedError, OutputError } from '../../src/errors.js';
import { asOutputError } from '../../src/result/output-failure.js';
import { writeAside, writeOutputFile } from '../../src/result/output-file.js';
import { openResult } from '../../src/result/result-folder.js';
import { tidyUnfinished, unfinishedPath } from '../../src/result/unfinished.js';
import { writeRunRecord } from '../../src/result/write-run-record.js';
import { sampleRecord } from './sample-record.js';
import { temporaryFolder } from './temporary-folder.js';

async function writeSample(out: string, label: string, overwrite = false): Promise<void> {
  const result = await openResult(out, { overwrite });
  writeFileSync(join(result.dir, 'composite.tif'), label);
  await writeRunRecord(result.dir, sampleRecord());
  await result.commit();
}

test('a result appears whole at commit, in a folder made for it', async () => {
  const parent = join(temporaryFolder(), 'not', 'yet', 'there');
  const out = join(parent, 'merged');
  const result = await openResult(out);
  writeFileSync(join(result.dir, 'composite.tif'), 'new');
  expect(basename(result.dir)).toMatch(/^\.merged\.lamella-partial-/);
  await writeRunRecord(result.dir, sampleRecord());
  expect(existsSync(out)).toBe(false);
  await result.commit();
  await result.discard();
  expect(readdirSync(parent)).toEqual(['merged']);
  expect(readdirSync(out).sort()).toEqual(['composite.tif', 'run.json']);
});

test('a discarded result leaves nothing, not even the folders made for it', async () => {
  const root = temporaryFolder();
  const result = await openResult(join(root, 'made', 'for', 'it'));
  writeFileSync(join(result.dir, 'composite.tif'), 'half');
  await result.discard();
  await result.discard();
  expect(readdirSync(root)).toEqual([]);
});

test('an earlier result is refused without --overwrite and kept', async () => {
  const out = join(temporaryFolder(), 'merged');
  await writeSample(out, 'old');
  await expect(openResult(out)).rejects.toThrow(OutputError);
  await expect(openResult(out)).rejects.toThrow(/Add overwrite/);
  expect(readFileSync(join(out, 'composite.tif'), 'utf8')).toBe('old');
});

test('with overwrite the earlier result is replaced as a whole', async () => {
  const parent = temporaryFolder();
  const out = join(parent, 'merged');
  await writeSample(out, 'old');
  writeFileSync(join(out, 'composite.jpg'), 'of an older run');
  await writeSample(out, 'new', true);
  expect(readFileSync(join(out, 'composite.tif'), 'utf8')).toBe('new');
  expect(readdirSync(out).sort()).toEqual(['composite.tif', 'run.json']);
  expect(readdirSync(parent)).toEqual(['merged']);
});

test('an empty folder is taken without asking', async () => {
  const out = temporaryFolder();
  await writeSample(out, 'new');
  expect(readFileSync(join(out, 'composite.tif'), 'utf8')).toBe('new');
});

test.each([
  ['photographs', { 'IMG_1.JPG': 'x' }],
  ['a run.json of another program', { 'run.json': '{"schema":"something-else","version":1}' }],
  ['a run.json that is no JSON', { 'run.json': '{"schema":"some' }],
])('a folder with %s is never replaced, even with overwrite', async (_, files) => {
  const out = temporaryFolder();
  for (const [name, text] of Object.entries(files)) writeFileSync(join(out, name), text);
  await expect(openResult(out, { overwrite: true })).rejects.toThrow(/no result of Lamella/);
  for (const [name, text] of Object.entries(files)) expect(readFileSync(join(out, name), 'utf8')).toBe(text);
});

test('a result that holds the photographs themselves is never replaced', async () => {
  const out = join(temporaryFolder(), 'merged');
  await writeSample(out, 'old');
  const inputFolder = join(out, 'photographs');
  mkdirSync(inputFolder);
  await expect(openResult(out, { overwrite: true, inputFolder })).rejects.toThrow(/inside the result folder/);
  await expect(openResult(out, { overwrite: true, inputFolder: out })).rejects.toThrow(
    /inside the result folder/,
  );
  const beside = await openResult(out, { overwrite: true, inputFolder: `${out}-photographs` });
  await beside.discard();
});

test('a result may lie inside the folder of photographs', async () => {
  const inputFolder = temporaryFolder();
  const result = await openResult(join(inputFolder, 'merged'), { inputFolder });
  await result.discard();
  expect(readdirSync(inputFolder)).toEqual([]);
});

test('a new result never lies in another one, which goes as a whole when it is merged anew', async () => {
  const out = join(temporaryFolder(), 'merged');
  await writeSample(out, 'old');
  for (const place of [join(out, 'again'), join(out, 'deep', 'again')]) {
    await expect(openResult(place, { overwrite: true })).rejects.toThrow(
      /again lies in the result folder .*merged/,
    );
  }
  const link = join(temporaryFolder(), 'link');
  symlinkSync(out, link);
  await expect(openResult(join(link, 'again'))).rejects.toThrow(/lies in the result folder/);
  expect(readdirSync(out).sort()).toEqual(['composite.tif', 'run.json']);
});

test('a name that is not UTF-8 text is refused, not written under another one', async () => {
  const parent = temporaryFolder();
  // As node hands over an argument with such bytes.
  await expect(openResult(join(parent, 'merged-\ufffd'))).rejects.toThrow(/its name is not UTF-8 text/);
  expect(readdirSync(parent)).toEqual([]);
});

test('places that cannot be a folder are refused in words', async () => {
  const root = temporaryFolder();
  const file = join(root, 'picture.tif');
  writeFileSync(file, 'x');
  await expect(openResult(file, { overwrite: true })).rejects.toThrow(/picture\.tif is a file, not a folder/);
  await expect(openResult(join(file, 'merged'))).rejects.toThrow(/a part of the path is a file/);
  symlinkSync(join(root, 'nowhere'), join(root, 'link'));
  await expect(openResult(join(root, 'link'))).rejects.toThrow(/a link that leads to no folder/);
  expect(readFileSync(file, 'utf8')).toBe('x');
});

test('a link to a result keeps pointing to it', async () => {
  const root = temporaryFolder();
  await writeSample(join(root, 'merged'), 'old');
  symlinkSync('merged', join(root, 'latest'));
  await writeSample(join(root, 'latest'), 'new', true);
  expect(readlinkSync(join(root, 'latest'))).toBe('merged');
  expect(readFileSync(join(root, 'merged', 'composite.tif'), 'utf8')).toBe('new');
});

test('a disk without room is refused before the work', async () => {
  const out = join(temporaryFolder(), 'merged');
  await expect(openResult(out, { expectedBytes: 1e18 })).rejects.toThrow(/needs at least .* MB but the disk/);
  const result = await openResult(out, { expectedBytes: 1 });
  await result.discard();
});

test('a folder filled by somebody else meanwhile is not overwritten', async () => {
  const out = join(temporaryFolder(), 'merged');
  const result = await openResult(out);
  await writeRunRecord(result.dir, sampleRecord());
  await writeSample(out, 'theirs');
  await expect(result.commit()).rejects.toThrow(OutputError);
  await result.discard();
  expect(readFileSync(join(out, 'composite.tif'), 'utf8')).toBe('theirs');
});

test('a folder without a run record cannot be committed', async () => {
  const out = join(temporaryFolder(), 'merged');
  const result = await openResult(out);
  await expect(result.commit()).rejects.toThrow(/no run\.json/);
  await result.discard();
  expect(existsSync(out)).toBe(false);
});

test('partial results of living processes and of other machines stay', async () => {
  const parent = temporaryFolder();
  const own = unfinishedPath(join(parent, 'other'), 'partial');
  const foreign = own.replace(/partial-[0-9a-f]{8}-\d+/, 'partial-00000000-999999999');
  const dead = own.replace(`-${process.pid}-`, '-999999999-');
  // A process of the same number that began at another time.
  const former = own.replace(/(?<=-)[0-9a-f]{8}(?=-[^-]+$)/, '00000000');
  for (const folder of [own, foreign, dead, former]) mkdirSync(folder);
  const result = await openResult(join(parent, 'merged'));
  await result.discard();
  expect(readdirSync(parent).sort()).toEqual([own, foreign].map((path) => basename(path)).sort());
});

test.runIf(process.platform === 'linux')(
  'the partial result of a process that nobody waited for goes',
  async () => {
    const parent = temporaryFolder();
    const script = fileURLToPath(new URL('./fixtures/open-result.ts', import.meta.url));
    // `sleep` takes the place of the shell and never asks after the shell's child, which stays as a zombie.
    const command = '"$0" --import tsx "$1" "$2" & echo $!; exec sleep 60 >/dev/null';
    const args = ['-c', command, process.execPath, script, join(parent, 'merged')];
    const careless = spawn('/bin/sh', args, { stdio: ['ignore', 'pipe', 'ignore'] });
    let said = '';
    careless.stdout.on('data', (chunk) => {
      said += chunk;
    });
    const stateOf = (pid: number) => readFileSync(`/proc/${pid}/stat`, 'utf8').match(/\) (\S)/)?.[1];
    try {
      await expect.poll(() => said, { timeout: 20_000 }).toMatch(/opened$/);
      await expect.poll(() => stateOf(Number.parseInt(said, 10)), { timeout: 20_000 }).toBe('Z');
      expect(readdirSync(parent)).toHaveLength(1);
      await tidyUnfinished(parent);
      expect(readdirSync(parent)).toEqual([]);
    } finally {
      careless.kill('SIGKILL');
    }
  },
);

test('an unwritable folder is told before the work', () => {
  const parent = temporaryFolder();
  chmodSync(parent, 0o555);
  const script = fileURLToPath(new URL('./fixtures/open-result.ts', import.meta.url));
  // Root may write anywhere: then the check runs as nobody.
  const user = process.getuid?.() === 0 ? { uid: 65534, gid: 65534 } : {};
  const args = ['--import', 'tsx', script, join(parent, 'merged')];
  const { stdout, stderr } = spawnSync(process.execPath, args, { encoding: 'utf8', ...user });
  expect(stderr).toBe('');
  expect(stdout).toMatch(/^4 Cannot write .*merged: you have no permission to write there\./);
  chmodSync(parent, 0o755);
});

test.runIf(existsSync('/dev/full'))(
  'a full disk gives an error in words and removes what was begun',
  async () => {
    const folder = temporaryFolder();
    const path = join(folder, 'composite.tif');
    symlinkSync('/dev/full', path);
    await expect(writeOutputFile(path, (file) => file.append(Buffer.alloc(100)))).rejects.toThrow(
      new OutputError(
        `Cannot write ${path}: the disk is full. Free some space or choose another place with out.`,
      ),
    );
    expect(readdirSync(folder)).toEqual([]);
  },
);

test('every failure of the system becomes a sentence, and a bug stays a bug', () => {
  for (const code of ['ENOSPC', 'EACCES', 'EROFS', 'EDQUOT', 'EIO', 'ESOMETHING']) {
    const failure = asOutputError(Object.assign(new Error(code), { code }), '/there/composite.tif');
    expect(failure).toBeInstanceOf(OutputError);
    expect((failure as Error).message).toMatch(/^Cannot write \/there\/composite\.tif: .*\.$/);
  }
  const bug = new TypeError('x is not a function');
  expect(asOutputError(bug, '/there')).toBe(bug);
});

test('a stopped run stops writing and leaves no file', async () => {
  const folder = temporaryFolder();
  const stop = new AbortController();
  const writing = writeOutputFile(
    join(folder, 'composite.tif'),
    async (file) => {
      await file.append(Buffer.alloc(1000));
      stop.abort();
      await file.append(Buffer.alloc(1000));
    },
    stop.signal,
  );
  await expect(writing).rejects.toThrow(InterruptedError);
  await expect(writeAside(join(folder, 'run.json'), '{}', stop.signal)).rejects.toThrow(InterruptedError);
  expect(readdirSync(folder)).toEqual([]);
});

test('a result whose run.json is damaged is replaced when asked to, for "merge again" is the advice', async () => {
  const out = join(temporaryFolder(), 'merged');
  await writeSample(out, 'old');
  const text = readFileSync(join(out, 'run.json'), 'utf8');
  writeFileSync(join(out, 'run.json'), text.slice(0, 200));
  await expect(writeSample(out, 'new')).rejects.toThrow(/already holds a result. Add overwrite/);
  await writeSample(out, 'new', true);
  expect(readFileSync(join(out, 'composite.tif'), 'utf8')).toBe('new');
});

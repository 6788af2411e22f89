import { spawnSync } from 'node:child_process';
import { readFileSync, utimesSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { livingHolder, lockFileName, readLock, takeLock } from '../../src/batch/batch-lock.js';
import { identityOf } from '../../src/result/process-identity.js';
import { makeFolder } from '../stack/pictures.js';
import { namesIn } from './tiny-stacks.js';

/** A folder with the lock of a holder that differs from this process in `fields`. */
function locked(fields: object): string {
  const startedAt = '2026-11-24T21:30:00.000Z';
  const holder = { ...identityOf(process.pid), startedAt, token: 'another', ...fields };
  return makeFolder({ [lockFileName]: `${JSON.stringify(holder)}\n` });
}

function endedPid(): number {
  return spawnSync(process.execPath, ['-e', '']).pid;
}

describe('the lock of a batch folder', () => {
  it('is held by one: the second is refused with process and start of the first', async () => {
    const out = makeFolder();
    const lock = await takeLock(out, () => new Date('2026-11-25T22:00:00Z'));
    await expect(takeLock(out)).rejects.toThrow(
      new RegExp(`already runs on .*: process ${process.pid} on .*, started 2026-11-25T22:00:00.000Z`),
    );
    expect((await livingHolder(out))?.pid).toBe(process.pid);
    await lock.release();
    expect(namesIn(out)).toEqual([]);
    await (await takeLock(out)).release();
  });

  it('of a process that lives is refused, of one that ended it is taken over', async () => {
    await expect(takeLock(locked({ pid: process.ppid, began: null }))).rejects.toThrow(
      `process ${process.ppid} `,
    );
    const out = locked({ pid: endedPid(), began: null });
    expect(await livingHolder(out)).toBeUndefined();
    const lock = await takeLock(out);
    expect((await readLock(out))?.pid).toBe(process.pid);
    await lock.release();
  });

  it('is taken over at once from a process that was killed while it took over another', async () => {
    const holder = { pid: endedPid(), began: null };
    const out = locked(holder);
    const lock = readFileSync(join(out, lockFileName), 'utf8');
    writeFileSync(join(out, `${lockFileName}.takeover`), lock);
    await (await takeLock(out)).release();
    expect(namesIn(out)).toEqual([]);
    // Of one that lives, and is at it, it is not.
    writeFileSync(join(out, lockFileName), lock);
    const living = { ...JSON.parse(lock), ...identityOf(process.pid) };
    writeFileSync(join(out, `${lockFileName}.takeover`), JSON.stringify(living));
    await expect(takeLock(out)).rejects.toThrow('already runs');
  });

  it.skipIf(process.platform !== 'linux')(
    'of a process whose number went to another is taken over',
    async () => {
      await (await takeLock(locked({ began: 'another-boot 12345' }))).release();
    },
  );

  it('takes away what a process left that was killed before it had the lock, and nothing of one that lives', async () => {
    const startedAt = '2026-11-24T21:30:00.000Z';
    const aside = (token: string, pid: number) => ({
      [`${lockFileName}.${token}`]: `${JSON.stringify({ ...identityOf(pid), startedAt, token, pid })}\n`,
    });
    const out = makeFolder({
      ...aside('d11476f645d678d9', endedPid()),
      ...aside('e11476f645d678d9', process.pid),
      [`${lockFileName}.notes`]: 'mine',
    });
    await (await takeLock(out)).release();
    expect(namesIn(out)).toEqual([`${lockFileName}.e11476f645d678d9`, `${lockFileName}.notes`]);
  });

  it('of another machine is refused while it is touched, and taken over when it was silent for long', async () => {
    const out = locked({ host: 'another-machine' });
    await expect(takeLock(out)).rejects.toThrow('on another-machine');
    const longAgo = new Date(Date.now() - 3_600_000);
    utimesSync(join(out, lockFileName), longAgo, longAgo);
    await (await takeLock(out)).release();
  });

  it.each(['', '{"pid":', 'null', '{}'])(
    'that holds %j is refused while it is young, then taken over',
    async (text) => {
      const out = makeFolder({ [lockFileName]: text });
      await expect(takeLock(out)).rejects.toThrow('just started');
      const longAgo = new Date(Date.now() - 60_000);
      utimesSync(join(out, lockFileName), longAgo, longAgo);
      await (await takeLock(out)).release();
    },
  );

  it('that is stale goes to exactly one of many who want it at once', async () => {
    for (let round = 0; round < 10; round++) {
      const out = locked({ pid: endedPid(), began: null });
      const takers = await Promise.allSettled(Array.from({ length: 12 }, () => takeLock(out)));
      const won = takers.filter((taker) => taker.status === 'fulfilled');
      expect(won).toHaveLength(1);
      expect(namesIn(out)).toEqual([lockFileName]);
      await won[0].value.release();
    }
  });

  it('that was taken over by another is not removed by its former holder', async () => {
    const out = makeFolder();
    const lock = await takeLock(out);
    const other = readFileSync(join(out, lockFileName), 'utf8').replace(
      /"token":"[^"]*"/,
      '"token":"another"',
    );
    writeFileSync(join(out, lockFileName), other);
    await lock.release();
    expect((await readLock(out))?.token).toBe('another');
  });

  it('says in words that the folder cannot be written', async () => {
    await expect(takeLock(join(makeFolder(), 'missing'))).rejects.toThrow(
      /^Cannot write .*disappeared meanwhile/,
    );
  });
});

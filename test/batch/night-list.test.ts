import { appendFileSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import type { NightEvent } from '../../src/batch/night-events.js';
import { NightList, readNightList } from '../../src/batch/night-list.js';
import { makeFolder } from '../stack/pictures.js';

const at = '2026-11-25T22:00:00.000Z';
const listName = 'night-list.jsonl';

function putOff(stack: string): NightEvent {
  return { event: 'put-off', at, stack, reason: `no time for ${stack}\n"now"` };
}

async function write(out: string, events: NightEvent[]): Promise<void> {
  const list = await NightList.open(out);
  for (const event of events) await list.add(event);
  await list.close();
}

describe('a night list', () => {
  it('reads back what was written, one line an event, over several openings', async () => {
    const out = makeFolder();
    await write(out, [putOff('a'), putOff('b')]);
    await write(out, [putOff('c')]);
    expect(await readNightList(out)).toEqual([putOff('a'), putOff('b'), putOff('c')]);
    expect(readFileSync(join(out, listName), 'utf8').split('\n')).toHaveLength(4);
  });

  it('cut at any byte loses no more than the event in the cut, and goes on from there', async () => {
    const whole = makeFolder();
    await write(whole, [putOff('a'), putOff('b'), putOff('c')]);
    const bytes = readFileSync(join(whole, listName));
    const ends = [...bytes.keys()].filter((i) => bytes[i] === 0x0a);
    await fc.assert(
      fc.asyncProperty(fc.nat(bytes.length), async (length) => {
        const out = makeFolder({ [listName]: bytes.subarray(0, length) });
        await write(out, [putOff('later')]);
        const events = (await readNightList(out)) ?? [];
        // A line that lacks nothing but its end is whole.
        const kept = ends.filter((end) => end <= length).length;
        expect(events).toEqual([...[putOff('a'), putOff('b'), putOff('c')].slice(0, kept), putOff('later')]);
        // Nothing that was there is ever taken away.
        expect(readFileSync(join(out, listName)).subarray(0, length)).toEqual(bytes.subarray(0, length));
      }),
      { numRuns: 60 },
    );
  });

  it('passes over lines of other programs and of later versions', async () => {
    const out = makeFolder();
    await write(out, [putOff('a')]);
    const lines = [
      'null',
      '5',
      '"x"',
      '[]',
      '{}',
      `{"at":"${at}","event":"later"}`,
      '\u0000\u0000',
      '{"event":"done"}',
    ];
    appendFileSync(join(out, listName), `${lines.join('\n')}\n`);
    await write(out, [putOff('b')]);
    expect(await readNightList(out)).toEqual([putOff('a'), putOff('b')]);
  });

  it('is undefined where there is none', async () => {
    expect(await readNightList(makeFolder())).toBeUndefined();
  });

  it.skipIf(process.platform !== 'linux')('says in words that the disk is full', async () => {
    const out = makeFolder();
    const { symlinkSync } = await import('node:fs');
    symlinkSync('/dev/full', join(out, listName));
    const list = await NightList.open(out);
    await expect(list.add(putOff('a'))).rejects.toThrow(/Cannot write .*night-list.jsonl: the disk is full/);
    await list.close();
  });

  it('says in words that its folder cannot be written', async () => {
    const folder = makeFolder();
    writeFileSync(join(folder, 'file'), '');
    await expect(NightList.open(join(folder, 'file'))).rejects.toThrow(/a part of the path is a file/);
  });
});

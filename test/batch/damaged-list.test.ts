import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import fc from 'fast-check';
import { beforeAll, describe, expect, it } from 'vitest';
import { nightListName } from '../../src/batch/night-events.js';
import { readNightList } from '../../src/batch/night-list.js';
import { nightPage } from '../../src/batch/night-page.js';
import { nightState } from '../../src/batch/night-state.js';
import { readStatus, statusLines } from '../../src/batch/night-status.js';
import { nightTable } from '../../src/batch/night-table.js';
import { makeFolder } from '../stack/pictures.js';
import { batchHere, startStandIn } from './in-process.js';
import { at, batchEvent, doneEvent, failedEvent, planned } from './night-fixtures.js';
import { runBatchProgram } from './program.js';
import { placeFrames, renderTiny } from './tiny-stacks.js';

let frames: Record<string, Buffer>;
beforeAll(async () => {
  frames = await renderTiny();
});

const lines = [
  batchEvent(['ant', 'bee']),
  { event: 'start', at, stack: 'ant', pid: 77, began: 'boot 5', host: 'bench' },
  doneEvent('ant', { files: [{ name: '1.jpg', sizeBytes: 5, modifiedMs: 1, changedMs: 2, sha256: null }] }),
  failedEvent('bee'),
  { event: 'found', at, stacks: [planned('wasp')] },
  { event: 'put-off', at, stack: 'wasp', reason: 'no time' },
  { event: 'end', at, state: 'until', reason: 'So as to end in time.' },
];

/** Everything that is made of a list; throws what any part of it throws. */
async function useList(text: string): Promise<string> {
  const out = makeFolder({ [nightListName]: text });
  const night = nightState((await readNightList(out)) ?? []);
  const now = new Date(at);
  return [nightPage(night, now), nightTable(night), ...statusLines(await readStatus(out, now), now)].join(
    '\n',
  );
}

const listOf = (events: readonly unknown[]): string =>
  events.map((event) => `${JSON.stringify(event)}\n`).join('');

/** A value of JSON with another value in the place of one of its parts. */
function withPart(value: unknown, path: readonly number[], part: unknown): unknown {
  if (path.length === 0 || typeof value !== 'object' || value === null) return part;
  const keys = Object.keys(value);
  if (keys.length === 0) return part;
  const key = keys[path[0] % keys.length];
  const inner = withPart((value as Record<string, unknown>)[key], path.slice(1), part);
  return Array.isArray(value) ? value.with(Number(key), inner) : { ...value, [key]: inner };
}

describe('a damaged night list', () => {
  it('with any part of any line replaced by any value is read without failing', async () => {
    const path = fc.array(fc.nat(40), { minLength: 1, maxLength: 4 });
    await fc.assert(
      fc.asyncProperty(fc.nat(lines.length - 1), path, fc.jsonValue(), async (line, place, part) => {
        await useList(listOf(lines.with(line, withPart(lines[line], place, part) as never)));
      }),
      { numRuns: 400 },
    );
  });

  it('made of any text is read without failing', async () => {
    const event = fc.record({ event: fc.constantFrom('batch', 'found', 'done'), at: fc.constant(at) });
    const line = fc.oneof(fc.string(), fc.json(), fc.tuple(event, fc.object()).map(listOf));
    await fc.assert(
      fc.asyncProperty(fc.array(line), (texts) => useList(texts.join('\n')).then(() => undefined)),
      { numRuns: 100 },
    );
  });

  it('never names a process that no list can mean', async () => {
    // Asked whether it lives, and ended: -1 is every process there is (kill(2)).
    const out = makeFolder({ [nightListName]: listOf([lines[0], { ...lines[1], pid: -1 }]) });
    expect([...nightState((await readNightList(out)) ?? []).stacks.values()][0].start).toBeUndefined();
  });

  it('keeps what the same line says of other stacks', async () => {
    const batch = { ...batchEvent([]), stacks: [null, planned('ant'), { ...planned('bee'), size: {} }] };
    const out = makeFolder({ [nightListName]: listOf([batch]) });
    expect([...nightState((await readNightList(out)) ?? []).stacks.keys()]).toEqual(['ant']);
  });

  it.each([
    ['the stacks of a start', (event: object) => ({ ...event, stacks: [null] }), 'batch'],
    ['all of a start', () => ({}), 'batch'],
    ['the verdicts of a result', (event: object) => ({ ...event, verdicts: {} }), 'done'],
  ])('(%s) means work again: neither batch nor --status fails', async (_what, damage, name) => {
    const parent = makeFolder();
    const root = join(parent, 'week');
    for (const stack of ['ant', 'bee']) placeFrames(join(root, stack), frames);
    const out = join(parent, 'out');
    await batchHere(root, { out }, { startStack: startStandIn });
    const list = join(out, nightListName);
    const damaged = readFileSync(list, 'utf8')
      .trim()
      .split('\n')
      .map((line) => JSON.parse(line))
      .map((event) => (event.event === name ? damage(event) : event));
    writeFileSync(list, listOf(damaged));
    const status = await runBatchProgram(['--status', out]);
    expect([status.code, status.stderr]).toEqual([0, '']);
    const again = await batchHere(root, { out }, { startStack: startStandIn });
    expect([again.failed, again.begun]).toEqual([0, ['ant', 'bee']]);
    expect((await batchHere(root, { out }, { startStack: startStandIn })).begun).toEqual([]);
  });
});

describe('the report of a stack', () => {
  it('cannot take the place of what the list says itself', async () => {
    const parent = makeFolder();
    placeFrames(join(parent, 'week', 'ant'), frames);
    const out = join(parent, 'out');
    const told = await batchHere(
      join(parent, 'week'),
      { out },
      {
        startStack: (job, onEvent) => {
          const run = startStandIn(job, onEvent);
          const ended = run.ended.then((end) => {
            if (end.state !== 'done') return end;
            const report = { ...end.report, event: 'end', stack: 'bee', at: '1970', options: 'x', later: 1 };
            return { ...end, report };
          });
          return { ...run, ended };
        },
      },
    );
    expect(told.done).toBe(1);
    const done = readFileSync(join(out, nightListName), 'utf8')
      .split('\n')
      .filter((line) => line.includes('"thumbnail"'))
      .map((line) => JSON.parse(line));
    expect(done).toMatchObject([{ event: 'done', stack: 'ant' }]);
    expect(done[0].at).not.toBe('1970');
    expect(done[0].options).not.toBe('x');
    expect(done[0].later).toBeUndefined();
  });
});

import { existsSync, mkdirSync, readdirSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { expect, test } from 'vitest';
import { readNightList } from '../../src/batch/night-list.js';
import type { DeskJob, NightForm, NightView } from '../../src/desk/protocol.js';
import { jsonOf, useDesk } from './desk-fixture.js';

const fixture = useDesk();

const formOf = async () => jsonOf<NightForm>(await fixture.get('api/night/form', { folder: fixture.root }));
const order = (stacks: string[], until: string | null = null, into: string | null = null) =>
  fixture.post('api/night', { folder: fixture.root, into, stacks, until, choices: { stepMm: 0.1 } });

async function begun(out: string): Promise<string[]> {
  const events = (await readNightList(out)) ?? [];
  return [...events].flatMap((event) => (event.event === 'start' ? [event.stack] : []));
}

test('stacks are offered with what they will take, merged as ticked in their order, and passed over when finished', async () => {
  const form = await formOf();
  expect(form.out).toBe(join(dirname(fixture.root), 'photographs-merged'));
  expect(form.stacks.map(({ stack, isFinished }) => [stack, isFinished])).toEqual([
    ['bee', false],
    ['fly', false],
    ['week/wasp', false],
  ]);
  expect(form.status).toBeNull();
  const none = await fixture.get('api/night', { out: form.out });
  expect([none.status, jsonOf(none)]).toEqual([200, null]);

  const { id } = jsonOf<DeskJob>(await order(['week/wasp', 'bee']));
  expect(jsonOf<{ message: string }>(await order(['fly'])).message).toContain('running already');
  expect(await fixture.ended(id)).toMatchObject({ state: 'done', title: 'photographs', out: form.out });
  expect(await begun(form.out)).toEqual(['week/wasp', 'bee']);
  expect(readdirSync(form.out)).not.toContain('fly');

  const view = jsonOf<NightView>(await fixture.get('api/night', { out: form.out }));
  expect(view.summary).toContain('2 of 2 stacks merged');
  const entries = view.groups.flatMap(({ stacks }) => stacks);
  expect(entries.map(({ stack, state }) => [stack, state])).toEqual([
    ['week/wasp', 'done'],
    ['bee', 'done'],
  ]);
  for (const { result } of entries) {
    expect((await fixture.post('api/look', { folder: result })).status).toBe(200);
  }
  expect((await formOf()).stacks.map(({ isFinished }) => isFinished)).toEqual([true, false, true]);
});

test('a night that is stopped keeps what is finished, and goes on', async () => {
  const { out } = await formOf();
  const { id } = jsonOf<DeskJob>(await order(['bee', 'fly']));
  while (!(await begun(out)).includes('fly')) await new Promise((resolve) => setTimeout(resolve, 30));
  await fixture.post('api/jobs/cancel', { id });
  expect(await fixture.ended(id)).toMatchObject({
    state: 'cancelled',
    message: expect.stringContaining('go on'),
  });
  expect(existsSync(join(out, 'fly'))).toBe(false);
  expect(readdirSync(out).filter((name) => name.includes('partial'))).toEqual([]);
  const again = jsonOf<DeskJob>(await order(['bee', 'fly']));
  expect((await fixture.ended(again.id)).message).toContain('1 merged');
  expect((await formOf()).stacks.every(({ isFinished }) => isFinished)).toBe(true);
});

test('results go into another folder where one is given, and the night goes on there', async () => {
  const folder = join(fixture.root, 'week');
  const started = (into: string) =>
    fixture.post('api/night', { folder, into, stacks: ['wasp'], until: null, choices: { stepMm: 0.1 } });
  for (const place of [folder, join(folder, 'wasp')]) {
    expect(jsonOf<{ message: string }>(await started(place)).message).toContain('choose another');
  }
  const into = join(fixture.root, 'results');
  expect((await started(into)).status).toBe(409);
  mkdirSync(into);
  const { id } = jsonOf<DeskJob>(await started(into));
  const out = join(into, 'week-merged');
  expect(await fixture.ended(id)).toMatchObject({ state: 'done', out });
  expect(await begun(out)).toEqual(['wasp']);
  expect(existsSync(`${folder}-merged`)).toBe(false);
  expect(jsonOf<NightView>(await fixture.get('api/night', { out })).into).toBe(into);
  const isFinished = async (query: Record<string, string>) =>
    jsonOf<NightForm>(await fixture.get('api/night/form', query)).stacks.map((stack) => stack.isFinished);
  expect(await isFinished({ folder, into })).toEqual([true]);
  expect(await isFinished({ folder })).toEqual([false]);
});

test('what cannot be is refused with a reason', async () => {
  expect(jsonOf<{ message: string }>(await order([])).message).toContain('tick at least one');
  expect(jsonOf<{ message: string }>(await order(['bee'], '25:00')).message).toContain(
    'a time of day such as 06:30',
  );
});

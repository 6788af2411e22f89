import { existsSync, mkdirSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { describe, expect, test } from 'vitest';
import { mergeOrder } from '../../src/desk/merge-job.js';
import type { DeskJob, MergeChoices, MergeForm, ResultEntry, StackFacts } from '../../src/desk/protocol.js';
import { resolveOptions } from '../../src/options/resolve-merge-options.js';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { jsonOf, useDesk } from './desk-fixture.js';

const fixture = useDesk();

const order = (folder: string, choices: MergeChoices = {}, replace = true, previewFirst = false) =>
  fixture.post('api/merge', {
    folder: join(fixture.root, folder),
    choices,
    into: null,
    replace,
    previewFirst,
  });

const formOf = async (folder: string) =>
  jsonOf<MergeForm>(await fixture.get('api/merge/form', { folder: join(fixture.root, folder) }));

describe('a merge', () => {
  test('writes a result beside the folder, as it was chosen, and is shown by name', async () => {
    const before = readdirSync(join(fixture.root, 'bee'));
    const { id } = jsonOf<DeskJob>(
      await order('bee', { stepMm: 0.1, fieldWidthMm: 2, rule: 'select', anchor: 1 }),
    );
    const job = await fixture.ended(id);
    expect(job).toMatchObject({
      state: 'done',
      title: 'bee',
      share: 1,
      out: join(fixture.root, 'bee-merged'),
    });
    const record = await readRunRecord(job.out!);
    expect(record.options).toMatchObject({ stepMm: 0.1, fieldWidthMm: 2, rule: 'select', anchor: 1 });
    expect(readdirSync(join(fixture.root, 'bee'))).toEqual(before);

    const facts = jsonOf<StackFacts>(await fixture.get('api/stack', { path: join(fixture.root, 'bee') }));
    expect(facts.results.map(({ name, preview }) => [name, preview])).toEqual([['bee-merged', null]]);
    const results = jsonOf<ResultEntry[]>(await fixture.get('api/results'));
    expect(results.map(({ path }) => path)).toEqual([job.out]);

    const { address } = jsonOf<{ address: string }>(await fixture.post('api/look', { folder: job.out! }));
    const page = await fixture.get(address);
    expect(page.body.toString()).toContain('<a class="home" href="../../#/look">Desk</a>');
    expect(jsonOf<{ name: string }>(await fixture.get(`${address}api/result`)).name).toBe('bee-merged');
  });

  test('beside an earlier result replaces it, or takes a free name; its choices are offered again', async () => {
    const form = await formOf('bee');
    expect(form).toMatchObject({ out: 'bee-merged', freeOut: 'bee-merged-2' });
    expect(form.known).toMatchObject({ stepMm: 0.1, fieldWidthMm: 2, rule: 'select', anchor: 1 });
    const first = (await readRunRecord(join(fixture.root, 'bee-merged'))).startedAt;
    const other = await fixture.ended(jsonOf<DeskJob>(await order('bee', {}, false)).id);
    expect(other).toMatchObject({ state: 'done', out: join(fixture.root, 'bee-merged-2') });
    expect((await readRunRecord(join(fixture.root, 'bee-merged'))).startedAt).toBe(first);
    const again = await fixture.ended(jsonOf<DeskJob>(await order('bee', {}, true)).id);
    expect(again.out).toBe(join(fixture.root, 'bee-merged'));
    expect((await readRunRecord(join(fixture.root, 'bee-merged'))).startedAt).not.toBe(first);
  });

  test('of large photographs has a picture before its end, and leaves nothing of it', async () => {
    const out = join(fixture.root, 'quick-merged');
    const plan = {
      folder: join(fixture.root, 'quick'),
      out,
      options: resolveOptions({}),
      look: { factor: 2, estimateS: 1, mergeS: 3 },
    } as const;
    await enlarge(join(fixture.root, 'fly'), plan.folder);
    const { desk } = fixture.served;
    const { id } = desk.jobs.start(mergeOrder(desk, plan));
    const job = await fixture.ended(id);
    // The quick look, while it was blended and done, and the picture while it was blended.
    expect(job).toMatchObject({
      state: 'done',
      pictureText: expect.stringMatching(/^\d of 3 photographs blended/),
    });
    expect(job.picture).toBeGreaterThanOrEqual(3);
    const picture = await fixture.get('picture', { job: String(id), version: '1' });
    expect(picture.headers['content-type']).toBe('image/jpeg');
    expect((await readRunRecord(out)).preview).toBeUndefined();
    expect(readdirSync(desk.scratch)).toEqual([]);
  });

  test('goes into another folder where the one above the photographs will not do', async () => {
    const into = join(fixture.root, 'empty');
    const body = {
      folder: join(fixture.root, 'bee'),
      choices: {},
      into,
      replace: false,
      previewFirst: false,
    };
    for (const name of ['bee-merged', 'bee-merged-2']) {
      const { id } = jsonOf<DeskJob>(await fixture.post('api/merge', body));
      expect(await fixture.ended(id)).toMatchObject({ state: 'done', out: join(into, name) });
      rmSync(join(into, 'bee-merged-2'), { recursive: true, force: true });
    }
    rmSync(join(into, 'bee-merged'), { recursive: true });
    const inside = await fixture.post('api/merge', { ...body, into: join(fixture.root, 'bee') });
    expect([inside.status, inside.body.toString()]).toEqual([
      409,
      expect.stringContaining('Nothing is written into'),
    ]);
  });

  test('is offered with a quick look first where it takes more than a moment', async () => {
    const folder = join(fixture.root, 'wide');
    mkdirSync(folder);
    const create = { width: 4000, height: 3000, channels: 3 } as const;
    for (const [i, name] of ['a', 'b', 'c'].entries()) {
      const picture = sharp({ create: { ...create, background: { r: i, g: 90, b: 60 } } });
      writeFileSync(join(folder, `${name}.jpg`), await picture.jpeg().toBuffer());
    }
    const form = await formOf('wide');
    expect(form.preview?.factor).toBe(4);
    expect(form.preview!.estimateS).toBeLessThan(form.estimateS / 2);
    expect((await formOf('fly')).preview).toBeNull();
  });

  test('goes by the order that is chosen, in which the form numbers its frames', async () => {
    const folder = join(fixture.root, 'renamed');
    mkdirSync(folder);
    const shot = ['c.jpg', 'b.jpg', 'a.jpg'];
    for (const [i, name] of shot.entries()) {
      writeFileSync(join(folder, name), readFileSync(join(fixture.root, 'fly', `000${i + 1}.jpg`)));
    }
    const namesBy = async (order: string) =>
      jsonOf<MergeForm>(await fixture.get('api/merge/form', { folder, order })).frames.map(
        ({ name }) => name,
      );
    expect([await namesBy(''), await namesBy('name')]).toEqual([shot, [...shot].reverse()]);
    const { id } = jsonOf<DeskJob>(await order('renamed', { order: 'name', anchor: 1 }));
    const job = await fixture.ended(id);
    expect([job.state, job.message]).toEqual(['done', expect.any(String)]);
    const record = await readRunRecord(job.out!);
    expect([record.anchorNumber, record.orderedBy, ...record.frames.map(({ name }) => name)]).toEqual([
      ...[1, 'name'],
      ...[...shot].reverse(),
    ]);
  });

  test('that is cancelled leaves nothing, and what waits behind it goes on', async () => {
    for (const name of readdirSync(fixture.root)) {
      if (name.startsWith('fly-')) rmSync(join(fixture.root, name), { recursive: true });
    }
    const [first, second, third] = [
      jsonOf<DeskJob>(await order('fly')),
      jsonOf<DeskJob>(await order('fly')),
      jsonOf<DeskJob>(await order('week/wasp')),
    ];
    expect([first.state, second.state, third.state]).toEqual(['running', 'waiting', 'waiting']);
    await fixture.post('api/jobs/cancel', { id: second.id });
    await fixture.post('api/jobs/cancel', { id: first.id });
    expect((await fixture.ended(first.id)).state).toBe('cancelled');
    expect((await fixture.ended(second.id)).state).toBe('cancelled');
    expect(readdirSync(fixture.root).filter((name) => name.includes('fly'))).toEqual(['fly']);
    expect((await fixture.ended(third.id)).state).toBe('done');
  });

  test('that is cancelled during its quick look leaves nothing of that either', async () => {
    const { desk } = fixture.served;
    const folder = join(fixture.root, 'quick');
    const out = join(fixture.root, 'quick-cancelled');
    const look = { factor: 2, estimateS: 1, mergeS: 3 } as const;
    const { id } = desk.jobs.start(mergeOrder(desk, { folder, out, options: resolveOptions({}), look }));
    await expect.poll(() => desk.jobs.get(id)?.stage, { timeout: 30_000, interval: 5 }).toBe('Quick look');
    desk.jobs.cancel(id);
    expect(await fixture.ended(id)).toMatchObject({ state: 'cancelled' });
    expect([readdirSync(desk.scratch), existsSync(out)]).toEqual([[], false]);
  });

  test('that cannot be says why, in the words of the page', async () => {
    const refused = await order('bee', { stepMm: -1 });
    expect(refused.status).toBe(409);
    expect(jsonOf<{ message: string }>(refused).message).toContain('for “Step from frame to frame”');
    const none = await fixture.get('api/merge/form', { folder: join(fixture.root, 'empty') });
    expect([none.status, jsonOf<{ message: string }>(none).message]).toEqual([
      409,
      expect.stringContaining('holds no files'),
    ]);
    expect(existsSync(join(fixture.root, 'empty-merged'))).toBe(false);
  });

  test('takes no option that the page does not offer', async () => {
    const { id } = jsonOf<DeskJob>(
      await order('bee', { out: '/tmp/elsewhere', scratch: '/' } as MergeChoices),
    );
    expect((await fixture.ended(id)).out).toBe(join(fixture.root, 'bee-merged'));
    expect(
      JSON.parse(readFileSync(join(fixture.root, 'bee-merged', 'run.json'), 'utf8')).options.scratch,
    ).toBeUndefined();
  });
});

/** The photographs of a folder at twice their size. */
async function enlarge(from: string, to: string): Promise<void> {
  mkdirSync(to);
  for (const name of readdirSync(from)) {
    writeFileSync(
      join(to, name),
      await sharp(join(from, name)).resize(192, 128).jpeg({ quality: 95 }).toBuffer(),
    );
  }
}

test('whoever connects is told of all jobs, and then of every change', async () => {
  const response = await fetch(`${fixture.served.address}events`);
  expect(response.headers.get('content-type')).toContain('text/event-stream');
  const reader = response.body!.pipeThrough(new TextDecoderStream()).getReader();
  let text = '';
  const until = async (pattern: RegExp): Promise<void> => {
    while (!pattern.test(text)) text += (await reader.read()).value;
  };
  await until(/event: jobs\ndata: \[\{.*\]\n\n/);
  const { id } = jsonOf<DeskJob>(await order('week/wasp'));
  await until(new RegExp(`event: job\\ndata: \\{"id":${id},.*"state":"done"`));
  expect(text).toMatch(new RegExp(`event: job\\ndata: \\{"id":${id},.*"state":"running"`));
  await reader.cancel();
});

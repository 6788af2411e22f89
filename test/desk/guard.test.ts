import { existsSync, mkdirSync, symlinkSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { deskRoutes } from '../../src/desk/routes.js';
import { ask } from '../view/made-page.js';
import { useDesk } from './desk-fixture.js';

const fixture = useDesk();

const routes = Object.entries(deskRoutes).flatMap(([path, methods]) =>
  Object.keys(methods ?? {}).map((method) => [method, path] as const),
);

describe('every route', () => {
  test.each(routes)('%s %s answers only to its own page, under the token', async (method, path) => {
    const { port, pathname } = new URL(fixture.served.address);
    const headers = { 'content-type': 'application/json' };
    const asked = { method, ...(method === 'POST' && { body: '{}' }) };
    const own = `${pathname}${path.slice(1)}`;
    for (const refused of [
      { path, headers },
      { path: `/${'A'.repeat(32)}${path}`, headers },
      { path: own, headers: { ...headers, host: `evil.example:${port}` } },
      { path: own, headers: { ...headers, origin: 'http://evil.example' } },
      { path: own, headers: { ...headers, 'sec-fetch-site': 'cross-site', 'sec-fetch-mode': 'no-cors' } },
    ]) {
      const reply = await ask(fixture.served.address, { ...asked, ...refused });
      expect([reply.status, reply.headers['content-security-policy']]).toEqual([
        403,
        expect.stringContaining("default-src 'none'"),
      ]);
    }
    expect(fixture.served.desk.jobs.list()).toEqual([]);
  });
});

test('an entrance leads in once', async () => {
  const entrance = fixture.served.entrance();
  const reply = await ask(entrance);
  expect(reply.status).toBe(303);
  expect(`http://127.0.0.1:${new URL(entrance).port}${reply.headers.location}`).toBe(fixture.served.address);
  expect((await ask(entrance)).status).toBe(403);
  expect((await ask(`${entrance}api/places`)).status).toBe(403);
});

test('what does its work through POST cannot be had by following a link', async () => {
  expect((await fixture.get('api/merge')).status).toBe(405);
  expect((await fixture.get('api/jobs/cancel')).status).toBe(405);
});

describe('nothing outside of the roots is shown, merged or opened', () => {
  let outside: string;
  beforeAll(() => {
    outside = join(dirname(fixture.root), 'elsewhere');
    mkdirSync(outside);
    writeFileSync(join(outside, 'a.jpg'), 'secret');
    symlinkSync(outside, join(fixture.root, 'link'));
  });

  test.each([
    ['another folder', () => outside],
    ['the folder above', () => dirname(fixture.root)],
    ['a way up', () => `${fixture.root}/../elsewhere`],
    ['a link that leads out', () => join(fixture.root, 'link')],
    ['a folder with the same beginning', () => `${fixture.root}s`],
    ['a relative path', () => 'bee'],
    ['a path with a zero byte', () => `${fixture.root}/bee\0`],
    ['the root of the disk', () => '/'],
  ])('%s', async (_, path) => {
    const folder = path();
    const order = { choices: {}, into: null, replace: true, previewFirst: false };
    for (const reply of [
      await fixture.get('api/folder', { path: folder }),
      await fixture.get('api/stack', { path: folder }),
      await fixture.get('api/result', { path: folder }),
      await fixture.get('thumbnail', { path: join(folder, 'a.jpg'), side: '160' }),
      await fixture.get('api/merge/form', { folder }),
      await fixture.post('api/merge', { ...order, folder }),
      await fixture.post('api/merge', { ...order, folder: join(fixture.root, 'bee'), into: folder }),
      await fixture.post('api/look', { folder }),
    ]) {
      expect(reply.status).toBe(409);
      expect(reply.body.toString()).toContain('lies outside of the folders');
    }
    expect(fixture.served.desk.jobs.list()).toEqual([]);
    expect(existsSync(`${outside}-merged`)).toBe(false);
  });
});

test.each([
  ['no JSON', 'api/merge', '{'],
  ['no object', 'api/merge', '3'],
  ['a folder that is no text', 'api/merge', '{"folder":3}'],
  ['an id that is no number', 'api/jobs/cancel', '{"id":"1"}'],
])('a body that is %s is refused with a reason', async (_, path, body) => {
  const reply = await ask(`${fixture.served.address}${path}`, {
    method: 'POST',
    headers: { 'content-type': 'application/json' },
    body,
  });
  expect([400, 409]).toContain(reply.status);
  expect(reply.body.toString()).toMatch(/Expected|no JSON/);
});

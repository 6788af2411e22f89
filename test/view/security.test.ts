import { networkInterfaces } from 'node:os';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { type Served, serveResult } from '../../src/view/serve.js';
import { makeLastingResult } from '../mend/made-result.js';
import { ask } from './made-page.js';

let served: Served;
let removeResult: () => void;
let port: string;
let token: string;

beforeAll(async () => {
  const { folder, remove } = await makeLastingResult();
  removeResult = remove;
  served = await serveResult(folder);
  const address = new URL(served.address);
  port = address.port;
  token = address.pathname.split('/')[1];
});

afterAll(async () => {
  await served.close();
  removeResult();
});

test('the address holds 192 random bits, on the loopback alone', async () => {
  expect(served.address).toMatch(/^http:\/\/127\.0\.0\.1:\d+\/[A-Za-z0-9_-]{32}\/$/);
  const outside = Object.values(networkInterfaces())
    .flatMap((list) => list ?? [])
    .find(({ family, internal }) => family === 'IPv4' && !internal);
  if (outside)
    await expect(ask(`http://${outside.address}:${port}/${token}/`)).rejects.toThrow(/ECONNREFUSED/);
});

test('the page and its parts are served to whoever has the token', async () => {
  for (const [path, type] of [
    ['', 'text/html'],
    ['style.css', 'text/css'],
    ['page/main.js', 'text/javascript'],
    ['api/result', 'application/json'],
    ['tile/composite/0/0/0', 'image/jpeg'],
  ]) {
    const reply = await ask(served.address, { path: `/${token}/${path}` });
    expect([path, reply.status]).toEqual([path, 200]);
    expect(reply.headers['content-type']).toContain(type);
    expect(reply.headers['content-security-policy']).toContain("default-src 'none'");
    expect(reply.headers['x-content-type-options']).toBe('nosniff');
    expect(reply.headers['referrer-policy']).toBe('no-referrer');
    expect(reply.headers['access-control-allow-origin']).toBeUndefined();
  }
});

describe('turned away', () => {
  test.each([
    ['no token', () => '/'],
    ['no token but a path', () => '/api/result'],
    ['a wrong token', () => `/${'A'.repeat(32)}/api/result`],
    ['the token but for its last letter', () => `/${token.slice(0, -1)}${token.endsWith('A') ? 'B' : 'A'}/`],
    ['a part of the token', () => `/${token.slice(0, 16)}/`],
    ['the token in another place', () => `/x/${token}/`],
    ['the token in the query', () => `/?${token}`],
  ])('%s', async (_, path) => {
    const reply = await ask(served.address, { path: path() });
    expect(reply.status).toBe(403);
    expect(reply.body.toString()).not.toContain('{');
  });

  test.each([
    'evil.example',
    'evil.example:80',
    '127.0.0.1',
    '127.0.0.1:1',
    '[::1]',
    'localhost.evil.example',
  ])('the host "%s"', async (host) => {
    const reply = await ask(served.address, { headers: { host: host.replace(':80', `:${port}`) } });
    expect(reply.status).toBe(403);
  });

  test.each(['http://evil.example', 'null', 'https://127.0.0.1', 'http://127.0.0.1', 'http://127.0.0.1:1'])(
    'the origin %s',
    async (origin) => {
      const reply = await ask(`${served.address}api/result`, { headers: { origin } });
      expect(reply.status).toBe(403);
    },
  );

  test('a request that a foreign page makes the browser send', async () => {
    const headers = { 'sec-fetch-site': 'cross-site', 'sec-fetch-mode': 'no-cors' };
    expect((await ask(`${served.address}tile/composite/0/0/0`, { headers })).status).toBe(403);
    const own = {
      'sec-fetch-site': 'same-origin',
      'sec-fetch-mode': 'cors',
      origin: `http://127.0.0.1:${port}`,
    };
    expect((await ask(`${served.address}tile/composite/0/0/0`, { headers: own })).status).toBe(200);
  });

  test.each([
    '../../../../etc/passwd',
    'page/../../../../../etc/passwd',
    'page/%2e%2e/%2e%2e/%2e%2e/etc/passwd',
    'page/..%2f..%2f..%2fetc%2fpasswd',
    'page/%252e%252e%252fetc%252fpasswd',
    'page/..\\..\\etc\\passwd',
    'page/%5c..%5cetc',
    'page//etc/passwd',
    'page/main.js%00.css',
    'page/./main.js',
    'page/constructor',
    '/etc/passwd',
    'run.json',
    'mends.json',
    'composite.tif',
    'tile/composite/0/0/../0',
    'tile/composite/0/0/0/../../../run.json',
    'tile/frame-1%2f..%2f/0/0/0',
    'tile/frame-999/0/0/0',
    'tile/frame-4/0/0/0',
    'tile/other/0/0/0',
    'tile/composite/40/0/0',
    'tile/composite/0/9/0',
    'tile/composite/-1/0/0',
    'tile/composite/0/0/0?mends=../../x',
    'crop?frame=../../etc&x=0&y=0&width=4&height=4',
    'crop?frame=1&x=-1&y=0&width=4&height=4',
    'api/spot?x=220&y=0',
    'api/spot?x=1e2&y=0',
    'api/section?x0=0&y0=0&x1=9&y1=9&points=-4',
    'api/distance?x0=0&y0=0&x1=9&y1=-9',
    'merged-crop?rule=../x&x=0&y=0&width=4&height=4&left=0&top=0&across=9&down=9',
    'merged-crop?rule=select&x=0&y=0&width=40&height=4&left=9&top=0&across=9&down=9',
  ])('%s', async (path) => {
    const reply = await ask(served.address, { path: `/${token}/${path}` });
    expect([400, 404]).toContain(reply.status);
    expect(reply.body.toString()).not.toMatch(/root:|lamella-run/);
  });

  test.each(['POST', 'PUT', 'DELETE', 'PATCH', 'OPTIONS', 'TRACE'])(
    'the method %s where reading is meant',
    async (method) => {
      const reply = await ask(`${served.address}api/result`, { method });
      expect(reply.status).toBe(405);
      expect(reply.headers.allow).toBe('GET, HEAD');
    },
  );

  test.each(['api/preview', 'api/save', 'api/candidates', 'api/keep-measure', 'api/drop-measure'])(
    'reading %s, which is for writing',
    async (path) => {
      const reply = await ask(served.address + path);
      expect([reply.status, reply.headers.allow]).toEqual([405, 'POST']);
    },
  );

  test('a form, no JSON, a wrong shape, too long a body, and a mend that cannot be', async () => {
    const post = (body: string, type = 'application/json') =>
      ask(`${served.address}api/preview`, { method: 'POST', body, headers: { 'content-type': type } });
    expect((await post('{"mends":[]}', 'text/plain')).status).toBe(415);
    expect((await post('{"mends":[]}', 'application/x-www-form-urlencoded')).status).toBe(415);
    expect((await post('{')).status).toBe(400);
    expect((await post('null')).status).toBe(400);
    expect((await post('{"mends":[{"id":1}]}')).status).toBe(400);
    expect((await post(`{"mends":[],"x":"${'x'.repeat(9e6)}"}`)).status).toBe(413);
    const mend = {
      id: 1,
      frame: 77,
      region: { kind: 'rectangle', x: 0, y: 0, width: 4, height: 4 },
      featherPx: 4,
      note: '',
      kept: true,
    };
    const refused = await post(JSON.stringify({ mends: [mend] }));
    expect(refused.status).toBe(409);
    expect(JSON.parse(refused.body.toString()).message).toContain('there is no frame 77');
    expect((await post('{"mends":[]}')).status).toBe(200);
  });
});

test('HEAD is answered without a body', async () => {
  const reply = await ask(served.address, { method: 'HEAD' });
  expect([reply.status, reply.body.length]).toEqual([200, 0]);
});

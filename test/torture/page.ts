import { cpSync } from 'node:fs';
import { connect } from 'node:net';
import { join } from 'node:path';
import { type Served, serveResult } from '../../src/view/serve.js';
import { seededRandom } from '../outside/seeded-random.js';
import { ask } from '../view/made-page.js';
import { below, junk, pick, type Random } from './damage.js';
import { changedPaths, digestOf, type Fixtures } from './fixtures.js';
import { runCases, type Tally, type TortureOptions, type Verdict } from './tally.js';

/** A request as bytes, and the statuses that are right; closing without an answer always is. */
interface Hostile {
  what: string;
  bytes: Buffer;
  right: (status: number) => boolean;
}

interface Place {
  port: string;
  token: string;
}

/** Nothing is told, and nothing is done. */
const refused = (status: number): boolean => status >= 400 && status < 500;
/** What reads may also succeed, where the address happens to be one. */
const harmless = (status: number): boolean => status === 200 || refused(status);

/** A request without an answer by then has none, ms. */
const patienceMs = 5000;

/** Sends hostile requests to the page of a result: none may be obeyed, none may bring it down or change a file. */
export async function torturePage(fixtures: Fixtures, options: TortureOptions): Promise<Tally> {
  const result = join(fixtures.makeCase(), 'merged');
  cpSync(fixtures.mended, result, { recursive: true });
  const served = await serveResult(result);
  try {
    const { port, pathname } = new URL(served.address);
    const place = { port, token: pathname.split('/')[1] };
    const before = digestOf(result);
    return await runCases('page', options, async (i) => {
      const random = seededRandom(options.seed * 1_000_003 + i * 15_485_863);
      const hostile = pick(random, makers)(place, random);
      const wrong = (await obeyed(place, hostile)) ?? (await aftermath(served, result, before));
      return { what: hostile.what, wrong };
    });
  } finally {
    await served.close();
  }
}

async function obeyed({ port }: Place, { bytes, right }: Hostile): Promise<Verdict> {
  const reply = await send(Number(port), bytes);
  if (/root:.*:0:0:|BEGIN [A-Z ]*PRIVATE KEY/.test(reply)) return 'a file of the system was handed out';
  if (reply === '') return undefined;
  const status = Number(/^HTTP\/1\.1 (\d{3})/.exec(reply)?.[1] ?? Number.NaN);
  return right(status) ? undefined : `answered ${reply.slice(0, 120).replace(/\s+/g, ' ')}`;
}

/** Whether the page goes on, and every file is as it was. */
async function aftermath(served: Served, result: string, before: Record<string, string>): Promise<Verdict> {
  const { status } = await ask(`${served.address}api/result`);
  if (status !== 200) return `the page then answered ${status}`;
  const changed = changedPaths(before, digestOf(result));
  return changed.length > 0 ? `changed ${changed.join(', ')}` : undefined;
}

/** The answer to bytes on a connection of their own; '' when there is none. */
function send(port: number, bytes: Buffer): Promise<string> {
  return new Promise((resolve) => {
    const pieces: Buffer[] = [];
    const socket = connect(port, '127.0.0.1');
    const end = (): void => {
      socket.destroy();
      resolve(Buffer.concat(pieces).toString('latin1'));
    };
    socket.setTimeout(patienceMs, end);
    socket.on('data', (piece) => pieces.push(piece));
    socket.on('close', end);
    socket.on('error', end);
    socket.end(bytes);
  });
}

function bytesOf(
  method: string,
  path: string,
  headers: Record<string, string>,
  body: string | Buffer = '',
): Buffer {
  const lines = Object.entries(headers).map(([name, value]) => `${name}: ${value}`);
  return Buffer.concat([
    Buffer.from(`${method} ${path} HTTP/1.1\r\n${lines.join('\r\n')}\r\nConnection: close\r\n\r\n`, 'latin1'),
    Buffer.from(body as string),
  ]);
}

const readPaths = [
  '',
  'api/result',
  'api/progress',
  'tile/composite/0/0/0',
  'crop?frame=1&x=0&y=0&width=9&height=9',
];

const climbs = [
  ...[
    '../../../../etc/passwd',
    '..%2f..%2f..%2fetc%2fpasswd',
    '%2e%2e/%2e%2e/etc/passwd',
    '....//....//etc/passwd',
  ],
  ...[
    'page/..\\..\\etc\\passwd',
    'page//etc/passwd',
    'run.json',
    'mends.json',
    'unmended/run.json',
    '/etc/passwd',
  ],
  ...[
    'page/%00',
    'tile/composite/0/0/0/../../../../run.json',
    'page/main.js/../../../../package.json',
    '.git/config',
  ],
];

const makers: readonly ((place: Place, random: Random) => Hostile)[] = [
  wrongToken,
  wrongHost,
  wrongOrigin,
  climbing,
  strangeNumbers,
  wrongMethod,
  junkBytes,
  strangeBody,
  mendsThatCannotBe,
  tooLong,
];

function wrongToken({ port, token }: Place, random: Random): Hostile {
  const wrong = pick(random, [
    '',
    'A'.repeat(32),
    token.slice(0, -1),
    `${token}x`,
    token.toUpperCase() === token ? token.toLowerCase() : token.toUpperCase(),
    `x/${token}`,
    `%${token}`,
    token.split('').reverse().join(''),
  ]);
  const path = `/${wrong}/${pick(random, readPaths)}`;
  return { what: `GET ${path}`, bytes: bytesOf('GET', path, { Host: `127.0.0.1:${port}` }), right: refused };
}

function wrongHost({ port, token }: Place, random: Random): Hostile {
  const host = pick(random, [
    ...[
      'evil.example',
      `evil.example:${port}`,
      `127.0.0.1`,
      `127.0.0.1:${Number(port) + 1}`,
      `0.0.0.0:${port}`,
    ],
    ...[
      `localhost.evil.example:${port}`,
      `127.0.0.1:${port}.evil.example`,
      `[::1]:${port}`,
      `2130706433:${port}`,
      '',
    ],
  ]);
  const path = `/${token}/${pick(random, readPaths)}`;
  return { what: `the host "${host}"`, bytes: bytesOf('GET', path, { Host: host }), right: refused };
}

function wrongOrigin({ port, token }: Place, random: Random): Hostile {
  const headers = pick<Record<string, string>>(random, [
    { Origin: 'http://evil.example' },
    { Origin: 'null' },
    { Origin: `https://127.0.0.1:${port}` },
    { Origin: `http://127.0.0.1:${port}.evil.example` },
    { 'Sec-Fetch-Site': 'cross-site', 'Sec-Fetch-Mode': 'no-cors' },
    { 'Sec-Fetch-Site': 'same-site', 'Sec-Fetch-Mode': 'cors' },
  ]);
  const isPost = random() < 0.5;
  const body = '{"mends":[],"base":[]}';
  const all = {
    Host: `127.0.0.1:${port}`,
    ...headers,
    'Content-Type': 'application/json',
    'Content-Length': String(isPost ? body.length : 0),
  };
  const path = `/${token}/${isPost ? 'api/save' : pick(random, readPaths.slice(1))}`;
  return {
    what: `${path.slice(34)} from ${JSON.stringify(headers)}`,
    bytes: bytesOf(isPost ? 'POST' : 'GET', path, all, isPost ? body : ''),
    right: refused,
  };
}

function climbing({ port, token }: Place, random: Random): Hostile {
  const climb = pick(random, climbs);
  return {
    what: climb,
    bytes: bytesOf('GET', `/${token}/${climb}`, { Host: `127.0.0.1:${port}` }),
    right: refused,
  };
}

function strangeNumbers({ port, token }: Place, random: Random): Hostile {
  const value = () =>
    pick(random, [
      '-1',
      '0',
      '1e9',
      '999999',
      '99999999999',
      '0x10',
      'NaN',
      '',
      '1.5',
      '%31',
      '4',
      '65536',
      "1'",
    ]);
  const path = pick(random, [
    () =>
      `tile/${pick(random, ['composite', 'depth', 'sources', 'frame-1', 'frame-99999', 'numbers', '__proto__', 'constructor'])}/${value()}/${value()}/${value()}?mends=${value()}`,
    () => `crop?frame=${value()}&x=${value()}&y=${value()}&width=${value()}&height=${value()}`,
    () => `api/spot?x=${value()}&y=${value()}&radius=${value()}`,
    () => `api/section?x0=${value()}&y0=${value()}&x1=${value()}&y1=${value()}&points=${value()}`,
    () => `api/distance?x0=${value()}&y0=${value()}&x1=${value()}&y1=${value()}`,
    () =>
      `merged-crop?rule=${pick(random, ['select', 'best', '__proto__', ''])}&x=${value()}&y=${value()}&width=${value()}&height=${value()}&left=${value()}&top=${value()}&across=${value()}&down=${value()}`,
  ])();
  return {
    what: path,
    bytes: bytesOf('GET', `/${token}/${path}`, { Host: `127.0.0.1:${port}` }),
    right: harmless,
  };
}

function wrongMethod({ port, token }: Place, random: Random): Hostile {
  const method = pick(random, ['PUT', 'DELETE', 'PATCH', 'OPTIONS', 'TRACE', 'PROPFIND', 'CONNECT', 'BREW']);
  const path = `/${token}/${pick(random, [...readPaths, 'api/save'])}`;
  return { what: `${method}`, bytes: bytesOf(method, path, { Host: `127.0.0.1:${port}` }), right: refused };
}

function junkBytes(_place: Place, random: Random): Hostile {
  return { what: 'junk instead of HTTP', bytes: junk(random, 1 + below(random, 400)), right: refused };
}

function strangeBody({ port, token }: Place, random: Random): Hostile {
  const body = pick(random, [
    ...[
      '',
      '{',
      'null',
      '[]',
      '1',
      '"x"',
      '{"mends":null}',
      '{"mends":{}}',
      '{"mends":[null]}',
      '{"mends":[[]]}',
    ],
    ...[
      '{"mends":[{"id":1}]}',
      '{"__proto__":{"mends":[]}}',
      '['.repeat(50_000),
      `{"mends":[],"base":${'['.repeat(9000)}`,
    ],
    ...['{"mends":[],"base":[{}]}', '\u0000\u0001', 'mends=[]&base=[]'],
  ]);
  const path = pick(random, [
    'api/save',
    'api/candidates',
    'api/preview',
    'api/keep-measure',
    'api/drop-measure',
  ]);
  const hostile = postOf({ port, token }, path, body, `a body of ${body.length} bytes for ${path}`);
  // A preview has no use for the list it was made from.
  return {
    ...hostile,
    right: path === 'api/preview' && body.startsWith('{"mends":[],') ? harmless : refused,
  };
}

function mendsThatCannotBe({ port, token }: Place, random: Random): Hostile {
  const good = {
    id: 1,
    frame: 3,
    region: { kind: 'rectangle', x: 30, y: 20, width: 20, height: 20 },
    featherPx: 4,
    note: '',
    kept: true,
  };
  const bad = pick<object>(random, [
    { frame: 77 },
    { frame: -1 },
    { frame: 1.5 },
    { frame: 1e9 },
    { id: 0 },
    { id: '1' },
    { featherPx: -1 },
    { featherPx: 1e9 },
    { note: 'n'.repeat(1001) },
    { kept: 'yes' },
    { region: { kind: 'rectangle', x: -5, y: 0, width: 9, height: 9 } },
    { region: { kind: 'rectangle', x: 90, y: 0, width: 90, height: 9 } },
    { region: { kind: 'rectangle', x: 0, y: 0, width: 1e15, height: 1e15 } },
    { region: { kind: 'polygon', points: [] } },
    {
      region: {
        kind: 'polygon',
        points: [
          [0, 0],
          [1e300, 0],
          [0, 1e300],
        ],
      },
    },
    {
      region: {
        kind: 'polygon',
        points: [
          [0, 0, 0],
          [1, 1, 1],
          [2, 2, 2],
        ],
      },
    },
    { region: { kind: 'spiral' } },
    { region: { kind: 'stroke', points: [], widthPx: 9 } },
    { region: { kind: 'stroke', points: [[10, 10]], widthPx: 1e9 } },
    { region: { kind: 'stroke', points: [[10, 10]] } },
    { region: { kind: 'stroke', points: [[10, 1e300]], widthPx: 9 } },
    { rule: 'best', frame: 0 },
    { rule: 'weigh' },
    { region: null },
  ]);
  const path = pick(random, ['api/save', 'api/preview']);
  const isTwice = random() < 0.2;
  const mends = isTwice ? [good, { ...good, frame: 2 }] : [good, { ...good, id: 2, ...bad }];
  const body = JSON.stringify({ mends, base: [] });
  return postOf(
    { port, token },
    path,
    body,
    `${path} of ${isTwice ? 'two mends of one id' : JSON.stringify(bad).slice(0, 80)}`,
  );
}

function tooLong({ port, token }: Place, random: Random): Hostile {
  const headers = { Host: `127.0.0.1:${port}` };
  return pick<() => Hostile>(random, [
    () => ({
      what: 'an address of 100 KB',
      bytes: bytesOf('GET', `/${token}/${'a'.repeat(100_000)}`, headers),
      right: refused,
    }),
    () => ({
      what: 'a header of 100 KB',
      bytes: bytesOf('GET', `/${token}/`, { ...headers, 'X-Long': 'x'.repeat(100_000) }),
      right: refused,
    }),
    () =>
      postOf(
        { port, token },
        'api/save',
        `{"mends":[],"base":[],"x":"${'x'.repeat(9e6)}"}`,
        'a body of 9 MB',
      ),
    () => ({
      what: 'a body shorter than it says',
      bytes: bytesOf(
        'POST',
        `/${token}/api/save`,
        { ...headers, 'Content-Type': 'application/json', 'Content-Length': '5000' },
        '{',
      ),
      right: refused,
    }),
    () => ({
      what: 'two lengths',
      bytes: bytesOf(
        'POST',
        `/${token}/api/save`,
        {
          ...headers,
          'Content-Type': 'application/json',
          'Content-Length': '2',
          'Transfer-Encoding': 'chunked',
        },
        '{}',
      ),
      right: refused,
    }),
  ])();
}

function postOf({ port, token }: Place, path: string, body: string, what: string): Hostile {
  const headers = {
    Host: `127.0.0.1:${port}`,
    'Content-Type': 'application/json',
    'Content-Length': String(Buffer.byteLength(body)),
  };
  return { what, bytes: bytesOf('POST', `/${token}/${path}`, headers, body), right: refused };
}

import { execFileSync } from 'node:child_process';
import {
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  symlinkSync,
  truncateSync,
  writeFileSync,
} from 'node:fs';
import { dirname, join } from 'node:path';
import { crc32, deflateSync } from 'node:zlib';

export type Random = () => number;

/** A whole number from 0 to below `count`. */
export function below(random: Random, count: number): number {
  return Math.floor(random() * count);
}

export function pick<T>(random: Random, list: readonly T[]): T {
  return list[below(random, list.length)];
}

/** A way to spoil a file; says in words what it did. */
type Damage = [words: string, spoil: (path: string, random: Random) => void];

/** Writes under a new inode, as files of the fixture may have a second name. */
function rewrite(path: string, bytes: Uint8Array | string): void {
  rmSync(path, { recursive: true, force: true });
  writeFileSync(path, bytes);
}

/** Makes something else under the name of a file. */
function instead(path: string, make: () => void): void {
  rmSync(path, { recursive: true, force: true });
  make();
}

function makeSparse(path: string): void {
  writeFileSync(path, '');
  truncateSync(path, 2 ** 40);
}

/** Ways to spoil any file. */
export const fileDamages: readonly Damage[] = [
  ['cut short', (path, random) => rewrite(path, cut(readFileSync(path), random))],
  ['cut to a few bytes', (path, random) => rewrite(path, readFileSync(path).subarray(0, below(random, 40)))],
  ['empty', (path) => rewrite(path, '')],
  [
    'with bytes flipped',
    (path, random) => rewrite(path, flipped(readFileSync(path), random, 1 + below(random, 40))),
  ],
  ['with its head flipped', (path, random) => rewrite(path, flippedHead(readFileSync(path), random))],
  ['with a block of zeros', (path, random) => rewrite(path, zeroed(readFileSync(path), random))],
  [
    'followed by junk',
    (path, random) => rewrite(path, Buffer.concat([readFileSync(path), junk(random, 500)])),
  ],
  ['junk', (path, random) => rewrite(path, junk(random, 2000))],
  ['a web page', (path) => rewrite(path, '<!doctype html><title>404 Not Found</title>')],
  ['a terabyte of nothing', (path) => instead(path, () => makeSparse(path))],
  ['missing', (path) => rmSync(path, { recursive: true, force: true })],
  ['a folder', (path) => instead(path, () => mkdirSync(path))],
  ['a named pipe', (path) => instead(path, () => execFileSync('mkfifo', [path]))],
  ['a link to a device', (path) => instead(path, () => symlinkSync('/dev/zero', path))],
  ['a link to itself', (path) => instead(path, () => symlinkSync(path, path))],
  ['a link to nowhere', (path) => instead(path, () => symlinkSync('/nowhere/at/all', path))],
];

/** Ways to spoil a photograph, beside those of any file. */
export const pictureDamages: readonly Damage[] = [
  ...fileDamages,
  ['a PNG that claims 60000 x 60000 pixels', (path) => rewrite(path, pngOf(60_000, 60_000))],
  ['a PNG of one pixel', (path) => rewrite(path, pngOf(1, 1))],
  ['a PNG of no pixels', (path) => rewrite(path, pngOf(0, 0))],
  ['another size', (path) => rewrite(path, pngOf(40, 30))],
  [
    'a copy of its neighbour',
    (path) => rewrite(path, readFileSync(join(dirname(path), readdirSync(dirname(path))[0]))),
  ],
];

/** Ways to spoil a JSON file, beside those of any file. */
export const jsonDamages: readonly Damage[] = [
  ...fileDamages,
  ['null', (path) => rewrite(path, 'null')],
  ['a list', (path) => rewrite(path, '[]')],
  ['an empty object', (path) => rewrite(path, '{}')],
  ['a number', (path) => rewrite(path, '1e999')],
  ['a thousand brackets', (path) => rewrite(path, '['.repeat(100_000))],
  ['not UTF-8', (path) => rewrite(path, Buffer.from([0xff, 0xfe, 0x7b, 0x00, 0x7d, 0x00]))],
  ...Array.from({ length: 8 }, (): Damage => ['with a field of another kind', spoilField]),
];

const strangeValues: readonly unknown[] = [
  null,
  '',
  'x',
  -1,
  0,
  0.5,
  1e308,
  -1e308,
  2 ** 53,
  true,
  [],
  {},
  [null],
  [[]],
  [0, 0, 0, 0, 0, 0, 0, 0, 0],
  '../../../etc/passwd',
  '/etc/passwd',
  '__proto__',
  '\u0000',
];

/** Sets one field, anywhere in the document, to something else, or takes it away. */
function spoilField(path: string, random: Random): void {
  const document: unknown = JSON.parse(readFileSync(path, 'utf8'));
  const places: [Record<string, unknown>, string][] = [];
  const collect = (value: unknown): void => {
    if (typeof value !== 'object' || value === null) return;
    const fields = value as Record<string, unknown>;
    for (const name of Object.keys(fields)) {
      places.push([fields, name]);
      collect(fields[name]);
    }
  };
  collect(document);
  if (places.length > 0) {
    const [fields, name] = pick(random, places);
    if (random() < 0.2) delete fields[name];
    else fields[name] = pick(random, strangeValues);
  }
  rewrite(path, JSON.stringify(document));
}

function cut(bytes: Buffer, random: Random): Buffer {
  return bytes.subarray(0, below(random, bytes.length));
}

function flipped(bytes: Buffer, random: Random, count: number): Buffer {
  const spoilt = Buffer.from(bytes);
  for (let i = 0; i < count; i++) spoilt[below(random, spoilt.length)] ^= 1 << below(random, 8);
  return spoilt;
}

function flippedHead(bytes: Buffer, random: Random): Buffer {
  const spoilt = Buffer.from(bytes);
  for (let i = 0; i < 4; i++) spoilt[below(random, Math.min(64, spoilt.length))] = below(random, 256);
  return spoilt;
}

function zeroed(bytes: Buffer, random: Random): Buffer {
  const start = below(random, bytes.length);
  return Buffer.from(bytes).fill(0, start, Math.min(bytes.length, start + 1 + below(random, 4096)));
}

export function junk(random: Random, length: number): Buffer {
  return Buffer.from(Array.from({ length }, () => below(random, 256)));
}

/** A PNG of grey whose pixels end early when it claims many (PNG specification: signature, IHDR, IDAT, IEND). */
function pngOf(width: number, height: number): Buffer {
  const head = Buffer.alloc(13);
  head.writeUInt32BE(width, 0);
  head.writeUInt32BE(height, 4);
  head[8] = 8;
  const rows = Buffer.alloc(Math.min(100_000, (width + 1) * height));
  const signature = Buffer.from([0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a]);
  return Buffer.concat([
    signature,
    chunk('IHDR', head),
    chunk('IDAT', deflateSync(rows)),
    chunk('IEND', Buffer.alloc(0)),
  ]);
}

function chunk(type: string, data: Buffer): Buffer {
  const body = Buffer.concat([Buffer.from(type, 'latin1'), data]);
  const framed = Buffer.alloc(body.length + 8);
  framed.writeUInt32BE(data.length, 0);
  body.copy(framed, 4);
  framed.writeUInt32BE(crc32(body), body.length + 4);
  return framed;
}

/** Gives a file a name that people and cameras seldom use; returns it. */
export function renameOddly(folder: string, name: string, random: Random): string {
  const odd = pick(random, [
    'with space.png',
    ' leading.png',
    'new\nline.png',
    'tab\t.png',
    'quote".png',
    "apostrophe's.png",
    'page[page=3].png',
    'option.png[level=3]',
    '%s%n%d.png',
    '-dash.png',
    '--strict.png',
    'ümläut.png',
    '写真.png',
    '\u202egnp.exe.png',
    '\u{1f41d}.png',
    `${'n'.repeat(240)}.png`,
    'back\\slash.png',
    'a:b.png',
    '$(touch owned).png',
    '<script>.png',
    '.hidden.png',
    'run.json',
    'lamella.json',
    'no-ending',
    'PHOTO.PNG',
    'photo.jpg',
    'photo.tif~',
  ]);
  renameSync(join(folder, name), join(folder, odd));
  return odd;
}

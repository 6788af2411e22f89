import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { describe, expect, test } from 'vitest';
import { countPhotographs } from '../../src/desk/list-folder.js';
import type { FolderView, FoundFolders, PlacesView, StackFacts } from '../../src/desk/protocol.js';
import { buildDng, mosaicOf } from '../stack/raw/dng.js';
import { jsonOf, useDesk } from './desk-fixture.js';

const fixture = useDesk();

test('the places are the folder that was given, and it alone', async () => {
  const places = jsonOf<PlacesView>(await fixture.get('api/places'));
  expect(places.roots).toEqual([{ name: 'photographs', path: fixture.root }]);
});

test('a folder shows what lies in it: stacks by their photographs, and folders', async () => {
  const view = jsonOf<FolderView>(await fixture.get('api/folder', { path: fixture.root }));
  expect(
    view.entries.map(({ name, kind, photographs, folders }) => [name, kind, photographs, folders]),
  ).toEqual([
    ['bee', 'stack', 3, 0],
    ['empty', 'folder', 0, 0],
    ['fly', 'stack', 3, 0],
    ['week', 'folder', 0, 1],
  ]);
  const inner = jsonOf<FolderView>(await fixture.get('api/folder', { path: join(fixture.root, 'week') }));
  expect(inner.trail.map(({ name }) => name)).toEqual(['photographs', 'week']);
});

test('a stack is known by its count, time, camera, size and kind', async () => {
  const facts = jsonOf<StackFacts>(await fixture.get('api/stack', { path: join(fixture.root, 'bee') }));
  const picture = await sharp(join(fixture.root, 'bee', facts.names[0])).metadata();
  expect(facts).toMatchObject({
    photographs: 3,
    size: { width: picture.width, height: picture.height },
    camera: 'Lamella Sample bench',
    results: [],
  });
  expect(facts.takenMs!.first).toBeLessThanOrEqual(facts.takenMs!.last);
});

test('a raw file and the JPEG of it count as one photograph', () => {
  expect(countPhotographs(['a.dng', 'a.jpg', 'b.NEF', 'c.jpg'])).toBe(3);
});

describe('a thumbnail', () => {
  test('is the photograph made small', async () => {
    const path = join(fixture.root, 'bee', '0001.jpg');
    const large = join(fixture.root, 'empty', 'large.png');
    writeFileSync(large, await sharp(path).resize(900, 600).png().toBuffer());
    const reply = await fixture.get('thumbnail', { path: large, side: '320' });
    expect(reply.headers['content-type']).toBe('image/jpeg');
    expect(await sharp(reply.body).metadata()).toMatchObject({ width: 320, height: 213, format: 'jpeg' });
  });

  test('of a camera raw file is the preview that is in it, upright', async () => {
    const size = { width: 64, height: 48 };
    // Red above blue, as the sensor lies; the camera was held upright.
    const red = await sharp({ create: { width: 640, height: 240, channels: 3, background: '#f00' } })
      .png()
      .toBuffer();
    const jpeg = await sharp({ create: { width: 640, height: 480, channels: 3, background: '#00f' } })
      .composite([{ input: red, left: 0, top: 0 }])
      .jpeg()
      .toBuffer();
    const mosaic = mosaicOf(new Float32Array(64 * 48 * 3).fill(0.3), 64, 48);
    const path = join(fixture.root, 'empty', 'photo.dng');
    writeFileSync(
      path,
      buildDng({ ...size, mosaic, orientation: 6, preview: { jpeg, width: 640, height: 480 } }),
    );
    const reply = await fixture.get('thumbnail', { path, side: '160' });
    const { data, info } = await sharp(reply.body).raw().toBuffer({ resolveWithObject: true });
    expect([info.width, info.height]).toEqual([120, 160]);
    // Turned by 90 degrees clockwise, what was above is at the right.
    const pixel = (x: number, y: number) => [...data.subarray((y * 120 + x) * 3, (y * 120 + x) * 3 + 3)];
    expect(pixel(110, 80)[0]).toBeGreaterThan(200);
    expect(pixel(10, 80)[2]).toBeGreaterThan(200);
  });

  test.each([
    ['no preview', undefined],
    ['a smaller preview than its own half', { width: 60, height: 40 }],
  ] as const)('of a camera raw file with %s is developed at half its size', async (name, preview) => {
    const size = { width: 300, height: 200 };
    const mosaic = mosaicOf(new Float32Array(300 * 200 * 3).fill(0.3), 300, 200);
    const red = sharp({ create: { width: 60, height: 40, channels: 3, background: '#f00' } });
    const jpeg = preview && { ...preview, jpeg: await red.jpeg().toBuffer() };
    const path = join(fixture.root, 'empty', `${name}.dng`);
    writeFileSync(path, buildDng({ ...size, mosaic, orientation: 6, ...(jpeg && { preview: jpeg }) }));
    const reply = await fixture.get('thumbnail', { path, side: '160' });
    const { data, info } = await sharp(reply.body).raw().toBuffer({ resolveWithObject: true });
    expect([info.width, info.height, info.channels]).toEqual([100, 150, 3]);
    // Grey of 30 % light (IEC 61966-2-1: 149 of 255), not the red of the preview.
    for (const value of data.subarray(0, 3)) expect(Math.abs(value - 149)).toBeLessThan(4);
  });

  test('is refused for what is no picture, and for other sizes', async () => {
    const text = join(fixture.root, 'empty', 'note.txt');
    writeFileSync(text, 'a secret');
    expect((await fixture.get('thumbnail', { path: text, side: '160' })).status).toBe(409);
    const lie = join(fixture.root, 'empty', 'note.jpg');
    writeFileSync(lie, 'a secret');
    const reply = await fixture.get('thumbnail', { path: lie, side: '160' });
    expect([reply.status, reply.body.toString()]).toEqual([409, expect.stringContaining('note.jpg')]);
    const path = join(fixture.root, 'bee', '0001.jpg');
    expect((await fixture.get('thumbnail', { path, side: '5000' })).status).toBe(400);
  });
});

describe('a folder that was dropped', () => {
  test('is found by its name and the names of its files', async () => {
    const find = async (name: string, names: string[]) =>
      jsonOf<FoundFolders>(await fixture.post('api/places/find', { name, names })).paths;
    expect(await find('wasp', ['0002.jpg'])).toEqual([join(fixture.root, 'week', 'wasp')]);
    expect(await find('wasp', ['0002.jpg', 'other.jpg'])).toEqual([]);
    expect(await find('asp', [])).toEqual([]);
  });

  test('may not name a path', async () => {
    expect((await fixture.post('api/places/find', { name: '../x', names: [] })).status).toBe(409);
  });
});

import { request } from 'node:http';
import { afterEach, describe, expect, test } from 'vitest';
import { applyMends } from '../../src/mend/apply-mends.js';
import { type Mend, readMends } from '../../src/mend/mends-file.js';
import type { MendPreview } from '../../src/view/mend-preview.js';
import { type Served, serveResult } from '../../src/view/serve.js';
import { Viewer } from '../../src/view/viewer.js';
import { makeResult, size } from '../mend/made-result.js';
import { ask } from './made-page.js';

let served: Served | undefined;
afterEach(async () => {
  await served?.close();
  served = undefined;
});

function mendAt(x: number, over: Partial<Mend> = {}): Mend {
  const region = { kind: 'rectangle', x, y: 50, width: 40, height: 30 } as const;
  return { id: 1, frame: 3, region, featherPx: 8, note: '', kept: true, ...over };
}

function post(path: string, body: object) {
  const headers = { 'content-type': 'application/json' };
  return ask(served!.address + path, { method: 'POST', headers, body: JSON.stringify(body) });
}

const layers = ['composite', 'depth', 'sources', 'confidence', 'coverage', 'numbers', 'frame-1'];

/** Asks for everything that is read, again and again, until told to end. */
async function askAll(isOver: () => boolean): Promise<{ asked: number; refused: string[] }> {
  const refused: string[] = [];
  let asked = 0;
  const asker = async (first: number) => {
    for (let i = first; !isOver(); i++) {
      const paths = [
        `tile/${layers[i % layers.length]}/0/0/0?maps=${i}`,
        'api/result',
        'api/progress',
        'api/spot?x=70&y=60&radius=3',
        'api/section?x0=1&y0=1&x1=90&y1=90&points=40',
        'crop?frame=2&x=10&y=10&width=60&height=50',
      ];
      const path = i % 2 === 0 ? paths[0] : paths[1 + ((i >> 1) % 5)];
      const { status, body } = await ask(served!.address, {
        path: new URL(served!.address + path).pathname + new URL(served!.address + path).search,
      });
      asked++;
      if (status !== 200) refused.push(`${status} ${path} ${body.toString().slice(0, 200)}`);
    }
  };
  await Promise.all([0, 1, 2, 3].map(asker));
  return { asked, refused };
}

describe('while a result is saved, every request of its page is answered as usual:', () => {
  test('by the page itself', async () => {
    const { folder } = await makeResult();
    served = await serveResult(folder);
    let isOver = false;
    const asking = askAll(() => isOver);
    let base: Mend[] = [];
    for (let i = 0; i < 6; i++) {
      const mends = [...base, mendAt(10 + 20 * i, { id: i + 1 })];
      const { status, body } = await post('api/save', { mends, base });
      expect([status, body.toString().slice(0, 100)]).toEqual([200, expect.stringContaining('{')]);
      base = JSON.parse(body.toString()).mends;
    }
    isOver = true;
    const { asked, refused } = await asking;
    expect(refused).toEqual([]);
    expect(asked).toBeGreaterThan(30);
    expect(await readMends(folder, size)).toHaveLength(6);
  }, 120_000);

  test('by another program', async () => {
    const { folder } = await makeResult();
    served = await serveResult(folder);
    let isOver = false;
    const asking = askAll(() => isOver);
    for (let i = 0; i < 6; i++) await applyMends(folder, i % 3 === 2 ? [] : [mendAt(10 + 20 * i)]);
    isOver = true;
    const { asked, refused } = await asking;
    expect(refused).toEqual([]);
    expect(asked).toBeGreaterThan(30);
  }, 120_000);
});

test('maps that are replaced while they are read stay open until they have been', async () => {
  const { folder } = await makeResult();
  const viewer = await Viewer.open(folder);
  try {
    viewer.startBackground();
    const place = { level: 0, column: 0, row: 0 };
    const before = await viewer.pictures.tile('depth', place, '');
    // The tile waits for its second map while the save takes the first away.
    const tiles = Promise.all(Array.from({ length: 20 }, () => viewer.pictures.tile('depth', place, '')));
    await viewer.save([mendAt(10)], []);
    for (const tile of await tiles) expect(tile).toBeDefined();
    expect((await viewer.pictures.tile('depth', place, ''))?.equals(before!)).toBe(false);
  } finally {
    await viewer.close();
  }
});

test.each(['api/preview', 'api/save'])(
  'two mends of one id are refused by %s, and none is lost',
  async (path) => {
    const { folder } = await makeResult();
    served = await serveResult(folder);
    const mends = [mendAt(10, { id: 7 }), mendAt(120, { id: 7 })];
    const refused = await post(path, { mends, base: [] });
    expect(refused.status).toBe(400);
    expect(JSON.parse(refused.body.toString()).message).toBe(
      'Expected an id of its own for each of mends but received 7 twice.',
    );
    expect(await readMends(folder, size)).toEqual([]);
    if (path === 'api/save') expect((await post(path, { mends: [], base: mends })).status).toBe(400);
  },
);

describe('a preview of thousands of mends', () => {
  const many = Array.from({ length: 3000 }, (_, i) =>
    mendAt(12 + (i % 150), { id: i + 1, featherPx: 1 + (i % 9), frame: 1 + (i % 3) }),
  );

  test('is given up when its page is gone, and the next one does not wait for it', async () => {
    const { folder } = await makeResult();
    served = await serveResult(folder);
    const { hostname, port, pathname } = new URL(served.address);
    const headers = { 'content-type': 'application/json' };
    const asked = request({ hostname, port, path: `${pathname}api/preview`, method: 'POST', headers });
    asked.on('error', () => undefined);
    const blended: number[] = [];
    const { viewer } = served;
    const preview = (viewer as unknown as { preview: MendPreview }).preview;
    const rasters = (preview as unknown as { rasters: { align: (...args: unknown[]) => unknown } }).rasters;
    const align = rasters.align.bind(rasters);
    rasters.align = (...args) => {
      // The page goes away in the middle.
      if (blended.push(blended.length) === 20) asked.destroy();
      return align(...args);
    };
    asked.end(JSON.stringify({ mends: many }));
    await expect.poll(() => blended.length, { timeout: 30_000 }).toBeGreaterThanOrEqual(20);
    const { status } = await post('api/preview', { mends: [mendAt(13)] });
    expect(status).toBe(200);
    expect(blended.length).toBeLessThan(200);
  }, 60_000);

  test('rejects at once when nobody waits for it any more', async () => {
    const { folder } = await makeResult();
    const viewer = await Viewer.open(folder);
    try {
      const gone = new AbortController();
      const preview = viewer.previewMends(many, gone.signal);
      gone.abort();
      await expect(preview).rejects.toThrow('Nobody waits for this preview any more.');
      const { key } = await viewer.previewMends([mendAt(13)]);
      expect(await viewer.pictures.tile('composite', { level: 0, column: 0, row: 0 }, key)).toBeDefined();
    } finally {
      await viewer.close();
    }
  });
});

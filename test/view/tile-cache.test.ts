/// <reference lib="dom" />
import { expect, test } from 'vitest';
import { levelCount } from '../../src/view/page/camera.js';
import { framesAhead } from '../../src/view/page/frame-steps.js';
import { TileCache } from '../../src/view/page/tile-cache.js';

const picture = { width: 5300, height: 3600 };
const screen = { width: 1000, height: 700 };
/** The whole picture on the screen, at a quarter at the most: level 2 of five. */
const camera = { scale: 0.1875, x: 3, y: 12 };
const coarsest = levelCount(picture, 512) - 1;

interface Load {
  name: string;
  signal: AbortSignal;
  answer(isThere?: boolean): Promise<void>;
}

/** A cache whose tiles come when the test says so, and what it has drawn. */
function setUp() {
  const loads: Load[] = [];
  const drawn: string[] = [];
  const context = {
    drawImage: ({ name }: { name: string }) => drawn.push(name),
    save() {},
    restore() {},
    beginPath() {},
    rect() {},
    clip() {},
  } as unknown as CanvasRenderingContext2D;
  const cache = new TileCache(
    picture,
    512,
    (layer, level, column, row, signal) =>
      new Promise((resolve, reject) => {
        const name = `${layer}/${level}/${column}/${row}`;
        signal.addEventListener('abort', () => reject(signal.reason));
        const answer = async (isThere = true) => {
          resolve(isThere ? ({ name, width: 512, height: 512 } as unknown as ImageBitmap) : null);
          await new Promise((done) => setImmediate(done));
        };
        loads.push({ name, signal, answer });
      }),
    () => undefined,
  );
  const draw = (layer: string, before?: string, ahead: string[] = []): boolean => {
    drawn.length = 0;
    cache.begin();
    const isComplete = cache.draw(context, layer, camera, screen, 1, before);
    if (isComplete) for (const other of ahead) cache.readAhead(other, camera, screen, 1);
    cache.end();
    return isComplete;
  };
  const answerAll = async (): Promise<void> => {
    for (let load = loads.shift(); load; load = loads.shift()) await load.answer();
  };
  return { loads, drawn, draw, answerAll };
}

test('a layer begins with its smallest version, which stands in until the tiles are there', async () => {
  const { loads, drawn, draw, answerAll } = setUp();
  expect(draw('frame-1')).toBe(false);
  expect(loads[0].name).toBe(`frame-1/${coarsest}/0/0`);
  expect(new Set(loads.slice(1).map(({ name }) => name.split('/')[1]))).toEqual(new Set(['2']));
  await loads.shift()!.answer();
  expect(draw('frame-1')).toBe(false);
  expect(new Set(drawn)).toEqual(new Set([`frame-1/${coarsest}/0/0`]));
  await answerAll();
  while (!draw('frame-1')) await answerAll();
  expect(drawn.filter((name) => name.startsWith('frame-1/2/'))).toHaveLength(3 * 2);
});

test('the last picture stays until something of the next is there', async () => {
  const { loads, drawn, draw, answerAll } = setUp();
  while (!draw('frame-1')) await answerAll();
  const last = [...drawn];
  expect(draw('frame-2', 'frame-1')).toBe(false);
  expect(drawn).toEqual(last);
  await loads.shift()!.answer();
  draw('frame-2', 'frame-1');
  expect(new Set(drawn)).toEqual(new Set([`frame-2/${coarsest}/0/0`]));
});

test('a picture in another state replaces the last one tile by tile, and is nowhere coarser meanwhile', async () => {
  const { loads, drawn, draw, answerAll } = setUp();
  while (!draw('composite 0')) await answerAll();
  const tiles = drawn.filter((name) => name.startsWith('composite 0/2/'));
  draw('composite ab', 'composite 0');
  await loads.shift()!.answer();
  draw('composite ab', 'composite 0');
  expect(drawn.filter((name) => name.startsWith('composite 0/2/'))).toEqual(tiles);
  expect(drawn.filter((name) => name.startsWith('composite ab/'))).toEqual([]);
  await answerAll();
  while (!draw('composite ab', 'composite 0')) await answerAll();
  expect(drawn.slice(-tiles.length).every((name) => name.startsWith('composite ab/2/'))).toBe(true);
});

test('what is no longer wanted is given up, and loaded again when it is wanted anew', async () => {
  const { loads, draw } = setUp();
  draw('frame-1');
  const first = loads.splice(0);
  draw('frame-2', 'frame-1');
  expect(first.every(({ signal }) => signal.aborted)).toBe(true);
  await new Promise((done) => setImmediate(done));
  expect(loads.every(({ name }) => name.startsWith('frame-2/'))).toBe(true);
  loads.length = 0;
  draw('frame-1');
  await new Promise((done) => setImmediate(done));
  expect(loads[0].name).toBe(`frame-1/${coarsest}/0/0`);
});

test('frames to come are read ahead once all that is in sight is there, and are complete when they are shown', async () => {
  const { loads, draw, answerAll } = setUp();
  draw('frame-1', undefined, ['frame-2']);
  expect(loads.every(({ name }) => name.startsWith('frame-1/'))).toBe(true);
  while (!draw('frame-1', undefined, ['frame-2'])) await answerAll();
  await answerAll();
  draw('frame-1', undefined, ['frame-2']);
  await answerAll();
  expect(draw('frame-2')).toBe(true);
});

test('a tile that is not there is not asked for again', async () => {
  const { loads, draw } = setUp();
  draw('frame-1');
  while (loads.length > 0) await loads.shift()!.answer(false);
  draw('frame-1');
  while (loads.length > 0) await loads.shift()!.answer(false);
  expect(draw('frame-1')).toBe(true);
  expect(loads).toEqual([]);
});

test('frames are read ahead in the direction of the last step, and one back', () => {
  const numbers = [1, 2, 4, 5, 6];
  expect(framesAhead(numbers, 2, 1)).toEqual([4, 5, 1]);
  expect(framesAhead(numbers, 2, -1)).toEqual([1, 4]);
  expect(framesAhead(numbers, 6, 1)).toEqual([5]);
});

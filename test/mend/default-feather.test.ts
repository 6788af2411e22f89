import { expect, test } from 'vitest';
import { defaultFeatherPx } from '../../src/mend/default-feather.js';
import { addMends } from '../../src/mend/edit-mends.js';
import type { MendRegion } from '../../src/mend/mend-region.js';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { makeResult } from './made-result.js';

const square = (side: number): MendRegion => ({ kind: 'rectangle', x: 3, y: 4, width: side, height: side });

function turned(width: number, length: number, degrees: number): MendRegion {
  const [c, s] = [Math.cos((degrees * Math.PI) / 180), Math.sin((degrees * Math.PI) / 180)];
  const corners = [
    [0, 0],
    [length, 0],
    [length, width],
    [0, width],
  ];
  return {
    kind: 'polygon',
    points: corners.map(([x, y]): [number, number] => [500 + c * x - s * y, 500 + s * x + c * y]),
  };
}

test('a feather that is not named is a quarter of the width of the region, within 2 and 160 px', () => {
  expect([12, 48, 100, 400, 640, 5000].map((side) => defaultFeatherPx(square(side)))).toEqual([
    3, 12, 25, 100, 160, 160,
  ]);
  const circle: MendRegion = {
    kind: 'polygon',
    points: Array.from({ length: 360 }, (_, i): [number, number] => [
      400 + 100 * Math.cos((i * Math.PI) / 180),
      400 + 100 * Math.sin((i * Math.PI) / 180),
    ]),
  };
  expect(defaultFeatherPx(circle)).toBe(50);
});

test('the feather of a strip follows its width, whichever way it lies', () => {
  for (const degrees of [0, 30, 45, 90]) expect(defaultFeatherPx(turned(40, 600, degrees))).toBe(19);
  expect(defaultFeatherPx(turned(6, 600, 45))).toBe(3);
});

test('the feather of a stroke is half its width where it is long, and a quarter of it for a dab', () => {
  const along = (widthPx: number, ...points: [number, number][]): MendRegion => ({
    kind: 'stroke',
    points,
    widthPx,
  });
  const bent: [number, number][] = [
    [100, 100],
    [400, 500],
    [900, 500],
  ];
  // As of a strip of that width and length; its round ends take a little from it.
  expect([8, 20, 60].map((widthPx) => defaultFeatherPx(along(widthPx, ...bent)))).toEqual([4, 10, 29]);
  expect(defaultFeatherPx(along(40, [50, 50]))).toBe(10);
});

test('an outline without an area has the least feather', () => {
  const line: MendRegion = {
    kind: 'polygon',
    points: [
      [5, 5],
      [5, 5],
      [5, 5],
    ],
  };
  expect(defaultFeatherPx(line)).toBe(2);
});

test('a mend that is added without a feather takes that of its region', async () => {
  const { folder } = await makeResult();
  const record = await readRunRecord(folder);
  const [small, large, named] = await addMends(
    [],
    [
      { from: { frame: 2 }, over: { region: '60,50,20,20' }, note: '' },
      { from: { frame: 2 }, over: { region: '40,40,96,96' }, note: '' },
      { from: { frame: 2 }, over: { region: '40,40,96,96' }, featherPx: 3, note: '' },
    ],
    record,
  );
  expect([small, large, named].map(({ featherPx }) => featherPx)).toEqual([5, 24, 3]);
});

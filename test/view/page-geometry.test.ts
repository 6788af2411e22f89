import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import {
  fitCamera,
  keepInSight,
  levelCount,
  levelFor,
  toPicture,
  toScreen,
  zoomAt,
} from '../../src/view/page/camera.js';
import { MendHistory } from '../../src/view/page/mend-history.js';
import { type Corner, clampOutline, simplifyOutline } from '../../src/view/page/outline.js';
import { roundLength } from '../../src/view/page/round-length.js';
import type { PageMend } from '../../src/view/protocol.js';
import { levelCount as serverLevels, tileRegion, tileSize } from '../../src/view/tiles.js';

test('a scale bar is round and as long as there is room', () => {
  for (const [most, length] of [
    [9.99, 5],
    [10, 10],
    [4.9, 2],
    [0.0199, 0.01],
    [300, 200],
  ]) {
    expect(roundLength(most)).toBeCloseTo(length, 12);
  }
});

describe('the camera', () => {
  const picture = { width: 6000, height: 4000 };
  const screen = { width: 1000, height: 700 };

  test('keeps what is under the pointer while it zooms', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 0.6, max: 6, noNaN: true }),
        fc.nat(600),
        fc.nat(400),
        (factor, dx, dy) => {
          const start = { scale: 0.5, x: -800, y: -500 };
          const [x, y] = [200 + dx, 150 + dy];
          const before = toPicture(start, x, y);
          const after = toPicture(zoomAt(start, factor, x, y, picture, screen), x, y);
          expect(after[0]).toBeCloseTo(before[0], 6);
          expect(after[1]).toBeCloseTo(before[1], 6);
        },
      ),
    );
  });

  test('shows all of the picture when it is fitted, in the middle', () => {
    const camera = fitCamera(picture, screen);
    expect(toScreen(camera, 2999.5, 1999.5)).toEqual([500, 350]);
    const [left, top] = toScreen(camera, -0.5, -0.5);
    expect([left, top].every((value) => value >= -1e-9)).toBe(true);
    const [x, y] = toPicture(camera, ...toScreen(camera, 12, 34));
    expect([x, y]).toEqual([expect.closeTo(12, 9), expect.closeTo(34, 9)]);
  });

  test('cannot lose the picture', () => {
    const camera = keepInSight({ scale: 1, x: 9e9, y: -9e9 }, picture, screen);
    const [x, y] = toPicture(camera, 500, 350);
    expect(x).toBeGreaterThanOrEqual(0);
    expect(y).toBeLessThanOrEqual(3999);
  });

  test('asks for the level whose pixels are no coarser than those of the screen', () => {
    expect(levelFor(1, 1, 6)).toBe(0);
    expect(levelFor(0.5, 1, 6)).toBe(1);
    expect(levelFor(0.26, 1, 6)).toBe(1);
    expect(levelFor(0.25, 2, 6)).toBe(1);
    expect(levelFor(0.001, 1, 6)).toBe(5);
    expect(levelFor(8, 1, 6)).toBe(0);
  });
});

test('tiles cover every pixel of every level once, and page and server count levels alike', () => {
  for (const size of [
    { width: 1, height: 1 },
    { width: 512, height: 512 },
    { width: 513, height: 100 },
    { width: 11_600, height: 8700 },
  ]) {
    const levels = serverLevels(size);
    expect(levelCount(size, tileSize)).toBe(levels);
    expect(tileRegion({ level: levels, column: 0, row: 0 }, size)).toBeUndefined();
    for (let level = 0; level < levels; level++) {
      let pixels = 0;
      for (let row = 0; ; row++) {
        if (!tileRegion({ level, column: 0, row }, size)) break;
        for (let column = 0; ; column++) {
          const region = tileRegion({ level, column, row }, size);
          if (!region) break;
          expect([region.x % tileSize, region.y % tileSize]).toEqual([0, 0]);
          pixels += region.width * region.height;
        }
      }
      expect(pixels).toBe(Math.ceil(size.width / 2 ** level) * Math.ceil(size.height / 2 ** level));
    }
  }
});

describe('a drawn outline', () => {
  test('strays no further than it may, with fewer corners', () => {
    const circle = Array.from(
      { length: 720 },
      (_, i): Corner => [100 + 80 * Math.cos(i / 114.6), 100 + 80 * Math.sin(i / 114.6)],
    );
    const simple = simplifyOutline(circle, 0.5);
    expect(simple.length).toBeLessThan(80);
    for (const [x, y] of circle) {
      const away = Math.min(
        ...simple.slice(1).map((to, i) => {
          const [x0, y0] = simple[i];
          const [dx, dy] = [to[0] - x0, to[1] - y0];
          const at = Math.max(0, Math.min(1, ((x - x0) * dx + (y - y0) * dy) / (dx * dx + dy * dy)));
          return Math.hypot(x - x0 - at * dx, y - y0 - at * dy);
        }),
      );
      expect(away).toBeLessThanOrEqual(0.5 + 1e-9);
    }
  });

  test('is kept inside the picture', () => {
    expect(
      clampOutline(
        [
          [-4, 3],
          [900.26, 12.34],
        ],
        100,
        50,
      ),
    ).toEqual([
      [0, 3],
      [99, 12.3],
    ]);
  });
});

describe('the history of mends', () => {
  const mend = (id: number): PageMend => ({
    id,
    frame: id,
    region: { kind: 'rectangle', x: 0, y: 0, width: 4, height: 4 },
    featherPx: 10,
    note: '',
    kept: true,
  });

  test('goes back and forth, also over what was saved before', () => {
    const history = new MendHistory([mend(1), mend(2)]);
    expect([history.canUndo, history.canRedo, history.isChanged]).toEqual([true, false, false]);
    history.undo();
    expect(history.mends).toEqual([mend(1)]);
    expect(history.isChanged).toBe(true);
    history.redo();
    expect(history.isChanged).toBe(false);
    history.push([mend(1), mend(2), mend(3)]);
    history.undo();
    history.undo();
    history.undo();
    expect(history.mends).toEqual([]);
    expect([history.canUndo, history.canRedo]).toEqual([false, true]);
    history.undo();
    expect(history.mends).toEqual([]);
  });

  test('knows nothing of a state that was withdrawn: there is nothing to redo', () => {
    const history = new MendHistory([mend(1)]);
    history.push([mend(1), mend(2)]);
    history.withdraw();
    expect(history.mends).toEqual([mend(1)]);
    expect([history.canUndo, history.canRedo, history.isChanged]).toEqual([true, false, false]);
    const fresh = new MendHistory([]);
    fresh.withdraw();
    expect([fresh.canUndo, fresh.canRedo, fresh.isChanged]).toEqual([false, false, false]);
  });

  test('forgets what was undone once something else is done, and knows it is not saved', () => {
    const history = new MendHistory([]);
    history.push([mend(1)]);
    history.markSaved();
    history.undo();
    expect(history.isChanged).toBe(true);
    history.push([mend(2)]);
    expect(history.canRedo).toBe(false);
    expect(history.isChanged).toBe(true);
    history.markSaved();
    expect(history.isChanged).toBe(false);
    expect(history.nextId()).toBe(3);
  });
});

import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import type { RowSource } from '../../src/mend/raster.js';
import {
  type CellCurves,
  contrastOfChoice,
  doubtfulPlaces,
  maxPlaces,
} from '../../src/view/doubtful-places.js';
import { positionAmong } from '../../src/view/page/doubtful-steps.js';
import type { DoubtfulPlace } from '../../src/view/protocol.js';

const cellPx = 8;
const [columns, rows] = [60, 40];
const numbers = [3, 4, 6, 7, 9];

/** A curve with a peak of measure `height` at each of `peaks`, by index among the frames. */
function peaksAt(height: number, ...peaks: number[]): number[] {
  return numbers.map((_, i) => (peaks.includes(i) ? height : 1));
}

function mapOf(value: (x: number, y: number) => number, bits: 8 | 16): RowSource {
  return {
    width: columns * cellPx,
    height: rows * cellPx,
    channels: 1,
    bits,
    readRow(y, x, count, into) {
      for (let i = 0; i < count; i++) into[i] = value(x + i, y);
    },
  };
}

const cellAt = (x: number, y: number) => Math.floor(y / cellPx) * columns + Math.floor(x / cellPx);

describe('how much a wrong choice would show', () => {
  const curves = (curve: (number | null)[], lumas: number[] = []): Pick<CellCurves, 'curve' | 'luma'> => ({
    curve: () => curve,
    luma: (frame) => lumas[frame] ?? 100,
  });

  test('nothing where one frame alone is sharp, and supplies it', () => {
    expect(contrastOfChoice(curves(peaksAt(400, 2)), 0, 2)).toBe(0);
  });

  test('the contrast of the detail where what supplies it shows none of it', () => {
    // A line of contrast c has a modified Laplacian of 2 c, squared 4 c^2: of 400 above the noise, c = 10.
    expect(contrastOfChoice(curves(peaksAt(401, 2)), 0, 0)).toBeCloseTo(10, 6);
  });

  test('across a valley both details count, for they are of two things', () => {
    expect(contrastOfChoice(curves(peaksAt(401, 0, 4)), 0, 0)).toBeCloseTo(Math.sqrt(200), 6);
  });

  test('a difference of light counts as it is', () => {
    expect(contrastOfChoice(curves(peaksAt(401, 2), [100, 0, 124]), 0, 0)).toBeCloseTo(Math.hypot(10, 24), 6);
  });

  test('frames that do not show the cell are no candidates', () => {
    expect(contrastOfChoice(curves([null, null, 401, 1, 1]), 0, 2)).toBe(0);
    expect(contrastOfChoice(curves([null, 1, 401, 1, 1]), 0, 0)).toBe(0);
  });
});

/** Places that were planted: of low confidence, with two things that are sharp there. */
const planted = fc.uniqueArray(
  fc.record({
    column: fc.integer({ min: 4, max: columns - 8 }),
    row: fc.integer({ min: 4, max: rows - 8 }),
    confidence: fc.integer({ min: 10, max: 200 }),
    measure: fc.integer({ min: 900, max: 20_000 }),
  }),
  {
    minLength: 1,
    maxLength: 4,
    comparator: (a, b) => Math.abs(a.column - b.column) < 9 && Math.abs(a.row - b.row) < 9,
  },
);

test('every planted place is found, the gravest first, and nothing elsewhere', () => {
  fc.assert(
    fc.property(planted, (spots) => {
      const spotAt = (x: number, y: number) =>
        spots.find(({ column, row }) => {
          const [i, j] = [Math.floor(x / cellPx) - column, Math.floor(y / cellPx) - row];
          return i >= 0 && j >= 0 && i < 3 && j < 3;
        });
      const ofCell = (cell: number) => spotAt((cell % columns) * cellPx, Math.floor(cell / columns) * cellPx);
      const places = doubtfulPlaces(
        {
          cellPx,
          columns,
          rows,
          curve: (cell) => peaksAt(ofCell(cell)?.measure ?? 1, 1, 3),
          luma: () => 90,
        },
        mapOf((x, y) => spotAt(x, y)?.confidence ?? 255, 8),
        mapOf(() => 4, 16),
        numbers,
      );
      expect(places).toHaveLength(spots.length);
      const scoreOf = ({ confidence, measure }: (typeof spots)[number]) =>
        (1 - confidence / 255) * Math.sqrt((measure - 1) / 2);
      const wanted = [...spots].sort((first, second) => scoreOf(second) - scoreOf(first));
      places.forEach(({ region: { x, y, width, height } }, i) => {
        const { column, row } = wanted[i];
        const middle = [(column + 1.5) * cellPx, (row + 1.5) * cellPx];
        expect(Math.hypot(x + width / 2 - middle[0], y + height / 2 - middle[1])).toBeLessThan(1.5 * cellPx);
        expect(Math.min(width, height)).toBeGreaterThanOrEqual(24);
        expect(Math.max(width, height)).toBeLessThanOrEqual(6 * cellPx);
      });
    }),
    { numRuns: 40 },
  );
});

test('where confidence is full, where nothing shows, and where no frame supplies the picture there is nothing to doubt', () => {
  const curves = (measure: number): CellCurves => ({
    cellPx,
    columns,
    rows,
    curve: () => peaksAt(measure, 1, 3),
    luma: () => 90,
  });
  const [sure, unsure] = [mapOf(() => 255, 8), mapOf(() => 60, 8)];
  const [four, none] = [mapOf(() => 4, 16), mapOf(() => 0, 16)];
  expect(doubtfulPlaces(curves(5000), sure, four, numbers)).toEqual([]);
  expect(doubtfulPlaces(curves(1), unsure, four, numbers)).toEqual([]);
  expect(doubtfulPlaces(curves(5000), unsure, none, numbers)).toEqual([]);
});

test('of a picture that is doubtful all over there are no more places than can be stepped through, each inside it', () => {
  const curves: CellCurves = {
    cellPx,
    columns,
    rows,
    curve: (cell) => peaksAt(2000 + 37 * ((cell * 7919) % 101), 1, 3),
    luma: () => 90,
  };
  const places = doubtfulPlaces(
    curves,
    mapOf((x, y) => (cellAt(x, y) * 31) % 90, 8),
    mapOf(() => 4, 16),
    numbers,
  );
  expect(places.length).toBeGreaterThan(1);
  expect(places.length).toBeLessThanOrEqual(maxPlaces);
  for (const { region } of places) {
    expect(region.x >= 0 && region.y >= 0).toBe(true);
    expect(region.x + region.width <= columns * cellPx && region.y + region.height <= rows * cellPx).toBe(
      true,
    );
  }
});

test('after saving it goes on behind the place that was mended, and does not begin anew', () => {
  const place = (x: number): DoubtfulPlace => ({
    region: { x, y: 0, width: 30, height: 30 },
    confidence: 0.5,
    contrast: 9,
  });
  const [first, second, third] = [place(0), place(50), place(100)];
  // Decided: the next step goes to the third, which has taken its position.
  expect(positionAmong([first, third], second, 1)).toBe(0);
  // Still doubtful: the next step goes on from it.
  expect(positionAmong([first, second, third], second, 1)).toBe(1);
  expect(positionAmong([third, second], second, 1)).toBe(1);
  expect(positionAmong([], second, 1)).toBe(-1);
  expect(positionAmong([first], undefined, -1)).toBe(-1);
});

import fc from 'fast-check';
import { expect, it } from 'vitest';
import { partOf, viewOf } from '../../src/image/view.js';
import { magnifyInto, reduceInto } from '../../src/trace/scale-crop.js';

/** A crop of samples that differ from each other, and where it goes on a sheet of 7s. */
const cases = fc.record({
  width: fc.integer({ min: 1, max: 9 }),
  height: fc.integer({ min: 1, max: 9 }),
  factor: fc.integer({ min: 1, max: 4 }),
  x: fc.integer({ min: 0, max: 3 }),
  y: fc.integer({ min: 0, max: 3 }),
});

const sheetSize = { width: 42, height: 42 };

function cropOf(width: number, height: number): Uint8Array {
  return Uint8Array.from({ length: width * height * 3 }, (_, i) => (i * 89) % 251);
}

it('a crop is magnified by whole pixels, and nothing beside its place changes', () => {
  fc.assert(
    fc.property(cases, ({ width, height, factor, x, y }) => {
      const crop = viewOf(cropOf(width, height), { width, height }, 3);
      const sheet = viewOf(new Uint8Array(42 * 42 * 3).fill(7), sheetSize, 3);
      const cell = { x, y, width: width * factor, height: height * factor };
      magnifyInto(partOf(sheet, cell), crop, factor);
      for (let row = 0; row < 42; row++) {
        for (let column = 0; column < 42; column++) {
          const [v, u] = [Math.floor((row - y) / factor), Math.floor((column - x) / factor)];
          const isInside = v >= 0 && u >= 0 && v < height && u < width;
          for (const channel of [0, 1, 2]) {
            expect(sheet.get(row, column, channel)).toBe(isInside ? crop.get(v, u, channel) : 7);
          }
        }
      }
    }),
  );
});

it('a crop is reduced to the means of its squares, those at its edges cut off', () => {
  fc.assert(
    fc.property(cases, ({ width, height, factor }) => {
      const crop = viewOf(cropOf(width, height), { width, height }, 3);
      const size = { width: Math.ceil(width / factor), height: Math.ceil(height / factor) };
      const small = viewOf(new Uint8Array(size.width * size.height * 3), size, 3);
      reduceInto(small, crop, factor);
      for (let row = 0; row < size.height; row++) {
        for (let column = 0; column < size.width; column++) {
          for (const channel of [0, 1, 2]) {
            const square: number[] = [];
            for (let v = row * factor; v < Math.min(height, (row + 1) * factor); v++) {
              for (let u = column * factor; u < Math.min(width, (column + 1) * factor); u++) {
                square.push(crop.get(v, u, channel));
              }
            }
            const mean = square.reduce((sum, value) => sum + value, 0) / square.length;
            expect(small.get(row, column, channel)).toBe(Math.round(mean));
          }
        }
      }
    }),
  );
});

import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { slopeMask } from '../../src/mend/feather.js';
import { parseStroke, regionBounds, regionMask, type StrokeRegion } from '../../src/mend/mend-region.js';
import { readMends } from '../../src/mend/mends-file.js';
import { runLamella } from '../cli/fake-system.js';
import { makeResult, readSamples, size, subjectAt } from './made-result.js';

type Point = [number, number];

const anyPoint = fc.tuple(fc.nat(400), fc.nat(300)).map(([x, y]): Point => [x / 10 + 0.013, y / 10 + 0.017]);
const anyStroke = fc.record({
  points: fc.array(anyPoint, { minLength: 1, maxLength: 6 }),
  widthPx: fc.integer({ min: 15, max: 200 }).map((tenths) => tenths / 10 + 0.003),
});

/** Distance of a pixel from a stroke's line, by projection onto each segment; the code walks along rows. */
function away({ points }: Pick<StrokeRegion, 'points'>, x: number, y: number): number {
  const distances = points.map(([x0, y0], i) => {
    const [x1, y1] = points[i + 1] ?? [x0, y0];
    const length = (x1 - x0) ** 2 + (y1 - y0) ** 2;
    const at = length > 0 ? ((x - x0) * (x1 - x0) + (y - y0) * (y1 - y0)) / length : 0;
    const kept = Math.max(0, Math.min(1, at));
    return Math.hypot(x - x0 - kept * (x1 - x0), y - y0 - kept * (y1 - y0));
  });
  return Math.min(...distances);
}

test('a stroke holds the pixels within half its width of its line, and its bounds hold them all', () => {
  fc.assert(
    fc.property(anyStroke, ({ points, widthPx }) => {
      const stroke: StrokeRegion = { kind: 'stroke', points, widthPx };
      const window = { x: -4, y: 3, width: 50, height: 28 };
      const bounds = regionBounds(stroke, { width: 44, height: 33 });
      const mask = regionMask(stroke, window);
      const wrong = [...mask.keys()].filter((i) => {
        const x = window.x + (i % window.width);
        const y = window.y + Math.floor(i / window.width);
        const distance = away(stroke, x, y);
        if (Math.abs(distance - widthPx / 2) < 1e-9) return false;
        if (mask[i] !== (distance < widthPx / 2 ? 1 : 0)) return true;
        if (!mask[i] || x < 0 || x >= 44 || y >= 33) return false;
        return (
          !bounds ||
          x < bounds.x ||
          x >= bounds.x + bounds.width ||
          y < bounds.y ||
          y >= bounds.y + bounds.height
        );
      });
      expect(wrong).toEqual([]);
    }),
    { numRuns: 150 },
  );
});

test('a narrow feather slopes from 1 on the region to 0 at its end, never up again', () => {
  fc.assert(
    fc.property(fc.double({ min: 0, max: 11, noNaN: true }), (featherPx) => {
      const [width, height] = [41, 33];
      const mask = new Uint8Array(width * height);
      mask[16 * width + 20] = 1;
      const slope = slopeMask(mask, width, height, featherPx);
      const byDistance = [...slope]
        .map((value, i) => ({ value, away: Math.hypot((i % width) - 20, Math.floor(i / width) - 16) }))
        .sort((first, second) => first.away - second.away);
      expect(byDistance[0].value).toBeCloseTo(1, 6);
      byDistance.forEach(({ value, away: distance }, i) => {
        if (i > 0) expect(value).toBeLessThanOrEqual(byDistance[i - 1].value);
        if (distance > featherPx) expect(value).toBe(0);
      });
    }),
    { numRuns: 40 },
  );
});

test('points are read, one alone as a dab', () => {
  expect(parseStroke('3,4 10.5,20', 9)).toEqual({
    kind: 'stroke',
    points: [
      [3, 4],
      [10.5, 20],
    ],
    widthPx: 9,
  });
  expect(parseStroke('3,4', 9).points).toEqual([[3, 4]]);
  for (const text of ['', '3', '3,4 5', 'a,b']) {
    expect(() => parseStroke(text, 9)).toThrow(/one or more points "x,y x,y" for along but received/);
  }
});

test.each([
  { bits: 8, feather: undefined },
  { bits: 16, feather: '20' },
] as const)(
  'a stroke of $bits bits with feather $feather takes its line from the frame, leaves all beyond, and is undone byte for byte',
  async ({ bits, feather }) => {
    const { folder } = await makeResult({ bits });
    const path = join(folder, 'composite.tif');
    const maps = ['depth.tif', 'sources.png', 'confidence.png', 'coverage.png'].map((name) =>
      join(folder, name),
    );
    const bytesBefore = [path, ...maps].map((file) => readFileSync(file));
    const before = await readSamples(path, bits, 3);
    const add = ['--add', 'frame=3', '--along', '60,50 90,80 140,70', '--width', '8'];
    const wide = feather === undefined ? [] : ['--feather', feather];
    expect((await runLamella('mend', folder, ...add, ...wide)).exitCode).toBe(0);
    const [{ region, featherPx }] = await readMends(folder, size);
    expect(featherPx).toBe(feather === undefined ? 4 : 20);
    const line = region as StrokeRegion;
    const after = await readSamples(path, bits, 3);
    const unit = bits === 16 ? 257 : 1;
    let worst = 0;
    let strayed = 0;
    let blended = 0;
    after.forEach((value, i) => {
      const [x, y] = [Math.floor(i / 3) % size.width, Math.floor(i / 3 / size.width)];
      const distance = away(line, x, y);
      if (distance > 4 + featherPx + 1e-9) {
        if (value !== before[i]) strayed++;
      } else if (distance <= 4) {
        worst = Math.max(worst, Math.abs(value / unit - subjectAt(3, x, y, i % 3)));
      } else if (value !== before[i]) blended++;
    });
    expect(strayed).toBe(0);
    expect(worst).toBeLessThan(bits === 16 ? 0.2 : 1.2);
    expect(blended).toBeGreaterThan(500);

    const { stdout } = await runLamella('mend', folder, '--list');
    expect(stdout).toContain('frame 3  stroke from 60,50 to 140,70, 8 px wide  feather');
    await runLamella('mend', folder, '--undo');
    expect([path, ...maps].map((file, i) => readFileSync(file).equals(bytesBefore[i]))).toEqual(
      Array.from({ length: 5 }, () => true),
    );
  },
);

import { describe, expect, it } from 'vitest';
import { serialShare } from './amdahl.js';
import { readOptions } from './options.js';
import { packRows, timelinePage } from './timeline.js';

describe('the serial share', () => {
  // Amdahl 1967: T(n) = T(1) (s + (1 - s) / n).
  it.each([0, 0.1, 0.5, 1])('of %s is recovered from times made by the law', (share) => {
    const times = [1, 2, 4, 8, 16].map((threads) => ({ threads, time: 7 * (share + (1 - share) / threads) }));
    expect(serialShare(times)).toBeCloseTo(share, 12);
  });

  it('is unknown from one thread alone', () => {
    expect(serialShare([{ threads: 1, time: 3 }])).toBeNaN();
  });
});

describe('the picture of a merge over time', () => {
  const span = (fromMs: number, toMs: number) => ({ fromMs, toMs });

  it('puts what overlaps in rows of its own, and no more rows than that takes', () => {
    const rows = packRows([span(5, 9), span(0, 4), span(4, 6), span(1, 2)]);
    expect(rows).toEqual([
      [span(0, 4), span(4, 6)],
      [span(1, 2), span(5, 9)],
    ]);
  });

  it('has a row for the stages, the main thread, each decoding at once, each worker and each file at once', () => {
    const page = timelinePage([
      {
        title: 'auto, <4> frames',
        ...span(0, 100),
        stages: [{ name: 'focus', ...span(0, 100) }],
        main: [span(3, 8)],
        spans: [
          { kind: 'decode', name: 'a.jpg', ...span(0, 50) },
          { kind: 'decode', name: 'b.jpg', ...span(10, 60) },
          { kind: 'compute', name: 'warpStrip', worker: 0, ...span(60, 90) },
          { kind: 'compute', name: 'warpStrip', worker: 1, ...span(60, 95) },
          { kind: 'write', name: 'depth.tif', ...span(70, 100) },
        ],
      },
    ]);
    const labels = [...page.matchAll(/<text x="0"[^>]*>([^<]+)</g)].map(([, label]) => label);
    expect(labels).toEqual(['stages', 'main', 'decode 1', 'decode 2', 'worker 1', 'worker 2', 'write 1']);
    expect(page).toContain('warpStrip, 35 ms');
    expect(page).not.toContain('<4>');
  });
});

describe('the options of the bench', () => {
  it('are 4, 12, 30 and 100 frames of 24 megapixels unless said otherwise', () => {
    expect(readOptions([])).toMatchObject({
      part: 'peer',
      frames: [4, 12, 30, 100],
      size: { width: 6000, height: 4000 },
    });
    expect(readOptions(['--scaling'])).toMatchObject({ part: 'scaling', frames: [30] });
  });

  it.each([
    ['--frames', '4,3'],
    ['--pixels', '10x10'],
    ['--size', '--scaling'],
  ])('are refused: %s %s', (...args) => {
    expect(() => readOptions(args)).toThrow(/^Expected /);
  });
});

import { expect, test } from 'vitest';
import type { FrameSigns } from '../../src/check/frame-signs.js';
import { listingFindings } from '../../src/check/listing-findings.js';
import type { FrameExif, FrameFile, Stack } from '../../src/stack/frame.js';

const usual: FrameExif = {
  make: 'Lamella',
  model: 'Sample bench',
  lens: 'Thin lens',
  fNumber: 5.6,
  exposureS: 1 / 60,
  iso: 100,
  focalLengthMm: 50,
  whiteBalance: 'manual',
};

function stack(exifs: readonly FrameExif[], warnings: string[] = [], notes: string[] = []): Stack {
  const frames = exifs.map(
    (exif, i): FrameFile => ({
      number: i + 1,
      path: `/stack/${i + 1}.jpg`,
      name: `${i + 1}.jpg`,
      sizeBytes: 1,
      modifiedMs: 0,
      size: { width: 600, height: 400 },
      bits: 8,
      channels: 3,
      hasAlpha: false,
      format: 'jpeg',
      orientation: 1,
      exif: { takenMs: 2000 * i, ...exif },
    }),
  );
  const common = { size: frames[0].size, bits: 8, channels: 3 } as const;
  return {
    folder: '/stack',
    frames,
    photographs: frames.length,
    ...common,
    orderedBy: 'exif time',
    notes,
    warnings,
  };
}

function signs(fingerprints: string): FrameSigns[] {
  return [...fingerprints].map((fingerprint, i) => ({ number: i + 1, fingerprint }) as FrameSigns);
}

function judge(exifs: readonly FrameExif[], fingerprints = 'abcdefgh'.slice(0, exifs.length)) {
  return listingFindings(stack(exifs), signs(fingerprints));
}

test('a stack of one kind has nothing to tell', () => {
  expect(judge(Array(8).fill(usual))).toEqual([]);
  expect(judge(Array(8).fill({ takenMs: undefined }))).toEqual([]);
});

test.each([
  ['camera', 'spoils', { model: 'Other' }],
  ['lens', 'spoils', { focalLengthMm: 60 }],
  ['aperture', 'spoils', { fNumber: 8 }],
  ['exposure', 'flaw', { exposureS: 1 / 30 }],
  ['exposure', 'flaw', { iso: 200 }],
  ['white-balance', 'flaw', { whiteBalance: 'auto' }],
] as const)('a changed %s is told with its frames', (kind, rank, change) => {
  const found = judge(
    Array.from({ length: 8 }, (_, i) => ({ ...usual, ...(i === 2 || i === 5 ? change : {}) })),
  );
  expect(found).toHaveLength(1);
  expect(found[0]).toMatchObject({ kind, rank, frames: [3, 6] });
  expect(found[0].message).toContain('frames 3 and 6');
});

test('a pause is told, and an even rhythm of any length is not', () => {
  const at = (times: number[]) => judge(times.map((takenMs) => ({ ...usual, takenMs })));
  expect(at([0, 30_000, 60_000, 90_000, 121_000, 150_000])).toEqual([]);
  const [pause] = at([0, 2000, 4000, 34_000, 36_000, 38_000]);
  expect(pause).toMatchObject({ kind: 'time-gap', frames: [3, 4] });
  expect(pause.message).toContain('30 s between frames 3 and 4');
});

test('the same picture twice is a flaw, the same picture always spoils', () => {
  expect(judge(Array(4).fill(usual), 'abcb')[0]).toMatchObject({
    kind: 'duplicate',
    rank: 'flaw',
    frames: [4],
  });
  expect(judge(Array(4).fill(usual), 'aaaa')[0]).toMatchObject({ kind: 'duplicate', rank: 'spoils' });
});

test('what the listing left out or found odd in the order is handed on', () => {
  const warning = 'Frame 3 (3.jpg) is left out: it is 100 x 100, the others are 600 x 400.';
  const note = 'Frames are ordered by capture time, which differs from the order of their names.';
  const found = listingFindings(stack(Array(4).fill(usual), [warning], [note]), signs('abcd'));
  expect(found[0]).toMatchObject({ kind: 'left-out', rank: 'spoils', frames: [3], message: warning });
  expect(found[1]).toMatchObject({ kind: 'order', message: note });
});

test('a photograph that was lost spoils the merge, a file that may never have been one does not', () => {
  const rankOf = (warning: string) => listingFindings(stack([usual], [warning]), signs('a'))[0].rank;
  expect(rankOf('3.jpg is left out: it is empty (0 bytes).')).toBe('spoils');
  expect(rankOf('3.jpg is left out: it is cut short or damaged (unsupported).')).toBe('spoils');
  expect(rankOf('3.jpg is left out: it cannot be read: permission to read it is denied.')).toBe('spoils');
  expect(rankOf('3.jpg is left out: it is no picture: its content is not JPEG, PNG, TIFF or WebP.')).toBe(
    'flaw',
  );
});

test('white balance left to the camera is noted', () => {
  expect(judge(Array(4).fill({ ...usual, whiteBalance: 'auto' }))).toMatchObject([
    { kind: 'white-balance', rank: 'note' },
  ]);
});

import { expect, test } from 'vitest';
import { listingFindings } from '../../src/check/listing-findings.js';
import type { FrameMeasurements } from '../../src/rail/frame-measurements.js';
import type { FrameExif, FrameFile, Stack, StackNote } from '../../src/stack/frame.js';

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

function stack(exifs: readonly FrameExif[], warnings: StackNote[] = [], notes: StackNote[] = []): Stack {
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

function signs(fingerprints: string): FrameMeasurements[] {
  return [...fingerprints].map((fingerprint, i) => ({ number: i + 1, fingerprint }) as FrameMeasurements);
}

function judge(exifs: readonly FrameExif[], fingerprints = 'abcdefgh'.slice(0, exifs.length)) {
  return listingFindings(stack(exifs), signs(fingerprints));
}

test('a uniform stack gives no findings', () => {
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
] as const)('a changed %s is reported with its frames', (kind, rank, change) => {
  const found = judge(
    Array.from({ length: 8 }, (_, i) => ({ ...usual, ...(i === 2 || i === 5 ? change : {}) })),
  );
  expect(found).toHaveLength(1);
  expect(found[0]).toMatchObject({ kind, rank, frames: [3, 6] });
  expect(found[0].message).toContain('frames 3 and 6');
});

test('a pause is reported, and an even rhythm of any length is not', () => {
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
  const warning: StackNote = { kind: 'odd-size', number: 3, message: 'Frame 3 is of another size.' };
  const note: StackNote = { kind: 'order-differs', message: 'The times differ from the names.' };
  const found = listingFindings(stack(Array(4).fill(usual), [warning], [note]), signs('abcd'));
  expect(found[0]).toMatchObject({ kind: 'left-out', rank: 'spoils', frames: [3], message: warning.message });
  expect(found[1]).toMatchObject({ kind: 'order', rank: 'note', message: note.message });
  expect(found[1].advice).not.toBe('');
});

test('of the notes on a listing only those on the order are verdicts', () => {
  const notes = (['ignored', 'reading', 'order', 'order-contradicts'] as const).map((kind) => ({
    kind,
    message: kind,
  }));
  expect(listingFindings(stack([usual], [], notes), signs('a'))).toMatchObject([
    { kind: 'order', rank: 'note', message: 'order', advice: '' },
    { kind: 'order', rank: 'flaw', message: 'order-contradicts' },
  ]);
});

test.each([
  ['lost', 'spoils'],
  ['unfit', 'flaw'],
  ['raw', 'flaw'],
  ['twins', 'flaw'],
] as const)('a file that is left out as %s is a verdict that ranks as %s', (kind, rank) => {
  const [found] = listingFindings(stack([usual], [{ kind, message: 'One is left out.' }]), signs('a'));
  expect(found).toMatchObject({ kind: 'left-out', rank, frames: [], message: 'One is left out.' });
});

test('white balance left to the camera is noted', () => {
  expect(judge(Array(4).fill({ ...usual, whiteBalance: 'auto' }))).toMatchObject([
    { kind: 'white-balance', rank: 'note' },
  ]);
});

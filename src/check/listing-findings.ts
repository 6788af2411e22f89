import { median } from '../image/median.js';
import { optionName } from '../option-names.js';
import type { FrameFacts } from '../rail/frame-measurements.js';
import type { Finding } from '../result/finding.js';
import type { FrameExif, FrameFile, Stack, StackNote } from '../stack/frame.js';
import { capital, framesText, skipText } from './finding-text.js';

/** Minimum length of a pause: multiple of the median pause of the stack, and excess over it. */
const minGapRatio = 4;
const minGapMs = 3000;

/** Findings from names, times, sizes and EXIF of a stack. */
export function listingFindings(stack: Stack, measurements: readonly FrameFacts[]): Finding[] {
  const { frames } = stack;
  return [
    ...stack.warnings.map(leftOut),
    ...stack.notes.flatMap(orderFinding),
    ...duplicates(measurements),
    ...timeGaps(frames),
    ...setting(frames, 'camera', 'spoils', (exif) => join(exif.make, exif.model), 'cameras'),
    ...setting(
      frames,
      'lens',
      'spoils',
      (exif) => join(exif.lens, lengthOf(exif)),
      'lenses or focal lengths',
    ),
    ...setting(frames, 'aperture', 'spoils', ({ fNumber }) => fNumber && `f/${fNumber}`, 'apertures'),
    ...setting(frames, 'exposure', 'flaw', exposureOf, 'exposures'),
    ...setting(frames, 'white-balance', 'flaw', ({ whiteBalance }) => whiteBalance, 'white balance settings'),
    ...automaticBalance(frames),
    ...unknownColours(frames),
  ];
}

/** Raw files of a camera that LibRaw decodes without knowing its colours. */
function unknownColours(frames: readonly FrameFile[]): Finding[] {
  const unknown = frames.filter(({ raw }) => raw?.isColourUnknown);
  if (unknown.length === 0) return [];
  const { make, model } = unknown[0].exif;
  const camera = join(make, model);
  return [
    {
      kind: 'camera',
      rank: 'flaw',
      frames: unknown.length === frames.length ? [] : unknown.map(({ number }) => number),
      message: `LibRaw does not know the colours of this camera${camera ? ` (${camera})` : ''}, and takes them for those of sRGB: they will look pale or wrong.`,
      advice: 'Convert the raw files to DNG, or develop them to 16-bit TIFF, all with the same settings.',
    },
  ];
}

/** A photograph that was lost is a missing step; other files in the folder may never have been frames. */
function leftOut({ kind, message, number }: StackNote): Finding {
  return {
    kind: 'left-out',
    rank: number === undefined && kind !== 'lost' ? 'flaw' : 'spoils',
    frames: number === undefined ? [] : [number],
    message,
    advice:
      'Export or copy it again like the others, or take it out of the folder; see that no step is missing then.',
  };
}

function orderFinding({ kind, message }: StackNote): Finding[] {
  if (kind !== 'order' && kind !== 'order-differs' && kind !== 'order-contradicts') return [];
  const other = kind === 'order-differs' ? 'name' : 'time';
  return [
    {
      kind: 'order',
      rank: kind === 'order-contradicts' ? 'flaw' : 'note',
      frames: [],
      message,
      advice:
        kind === 'order'
          ? ''
          : `See that the frames are in the order of the shooting, and give ${optionName('order')} ${other} if they are not.`,
      ...(kind !== 'order' && { fixes: [{ order: other }] }),
    },
  ];
}

function duplicates(measurements: readonly FrameFacts[]): Finding[] {
  const first = new Map<string, number>();
  const copies: number[] = [];
  const pairs: string[] = [];
  for (const { number, fingerprint } of measurements) {
    const before = first.get(fingerprint);
    if (before === undefined) first.set(fingerprint, number);
    else {
      copies.push(number);
      pairs.push(`${number} repeats frame ${before}`);
    }
  }
  if (copies.length === 0) return [];
  const all = first.size === 1;
  const shown = pairs.slice(0, 6).join(', ') + (pairs.length > 6 ? ` and ${pairs.length - 6} more` : '');
  return [
    {
      kind: 'duplicate',
      rank: all ? 'spoils' : 'flaw',
      frames: copies,
      message: all
        ? 'All frames show the very same picture.'
        : `The same picture occurs again, pixel for pixel: frame ${shown}.`,
      advice: all
        ? 'Copy the photographs again from the card.'
        : `Leave out what was copied twice (${optionName('skip')} ${skipText(copies)}), and see that no frame is missing in its place.`,
      ...(!all && { fixes: [{ skip: copies }] }),
    },
  ];
}

function timeGaps(frames: readonly FrameFile[]): Finding[] {
  const times = frames.map(({ exif }) => exif.takenMs);
  if (!times.every((time) => time !== undefined) || frames.length < 4) return [];
  const pauses = times.slice(1).map((time, i) => time - times[i]);
  const usual = median(Float64Array.from(pauses));
  const long = pauses.flatMap((pause, i) =>
    pause > minGapRatio * usual && pause > usual + minGapMs
      ? [{ pause, from: frames[i], to: frames[i + 1] }]
      : [],
  );
  if (long.length === 0) return [];
  const listed = long
    .slice(0, 6)
    .map(({ pause, from, to }) => `${timeText(pause)} between frames ${from.number} and ${to.number}`)
    .join(', ');
  return [
    {
      kind: 'time-gap',
      rank: 'flaw',
      frames: [...new Set(long.flatMap(({ from, to }) => [from.number, to.number]))],
      message: `The shooting paused: ${listed}; the usual is ${timeText(usual)}.`,
      advice:
        'See that the folder holds one stack only, and that nothing moved and no frame is missing there.',
    },
  ];
}

function timeText(ms: number): string {
  if (ms < 120_000) return `${Number((ms / 1000).toPrecision(ms < 10_000 ? 2 : 3))} s`;
  return ms < 7_200_000 ? `${Math.round(ms / 60_000)} min` : `${Math.round(ms / 3_600_000)} h`;
}

/** A finding when a setting is not the same in all frames whose EXIF contains it. */
function setting(
  frames: readonly FrameFile[],
  kind: Finding['kind'],
  rank: Finding['rank'],
  read: (exif: FrameExif) => string | number | undefined,
  what: string,
): Finding[] {
  const groups = new Map<string, number[]>();
  for (const { exif, number } of frames) {
    const value = read(exif);
    if (value === undefined || value === '') continue;
    groups.set(String(value), [...(groups.get(String(value)) ?? []), number]);
  }
  if (groups.size < 2) return [];
  const sorted = [...groups].sort((one, other) => other[1].length - one[1].length);
  const [usual, ...odd] = sorted;
  const numbers = odd.flatMap(([, members]) => members).sort((p, q) => p - q);
  const listed = odd
    .slice(0, 4)
    .map(([value, members]) => `${value} in ${framesText(members)}`)
    .join(', ');
  const more = odd.length > 4 ? ` and ${odd.length - 4} more` : '';
  return [
    {
      kind,
      rank,
      frames: numbers,
      message: `The EXIF records different ${what}: ${listed}${more}, but ${usual[0]} in the others.`,
      advice:
        rank === 'spoils'
          ? `Shoot ${framesText(numbers)} again as the others, or leave them out (${optionName('skip')} ${skipText(numbers)}).`
          : 'Set it by hand for the whole stack next time; a merge evens out light and colour as far as it can.',
      ...(rank === 'spoils' && { fixes: [{ skip: numbers }] }),
    },
  ];
}

function exposureOf({ exposureS, iso }: FrameExif): string | undefined {
  if (exposureS === undefined && iso === undefined) return undefined;
  const time =
    exposureS === undefined
      ? undefined
      : exposureS < 0.4
        ? `1/${Math.round(1 / exposureS)} s`
        : `${Number(exposureS.toPrecision(3))} s`;
  return [time, iso === undefined ? undefined : `ISO ${iso}`]
    .filter((text) => text !== undefined)
    .join(' at ');
}

function automaticBalance(frames: readonly FrameFile[]): Finding[] {
  if (!frames.every(({ exif }) => exif.whiteBalance === 'auto')) return [];
  return [
    {
      kind: 'white-balance',
      rank: 'note',
      frames: [],
      message: 'White balance was automatic: the colours may change from frame to frame.',
      advice: 'Set it by hand next time, or develop raw files all alike.',
    },
  ];
}

function join(...texts: (string | undefined)[]): string | undefined {
  const known = texts.filter((text) => text !== undefined);
  return known.length > 0 ? known.join(' ') : undefined;
}

function lengthOf({ focalLengthMm }: FrameExif): string | undefined {
  return focalLengthMm === undefined ? undefined : `at ${focalLengthMm} mm`;
}

/** Findings about frames whose pixels cannot be read. */
export function unreadableFindings(unreadable: ReadonlyMap<number, string>): Finding[] {
  if (unreadable.size === 0) return [];
  const numbers = [...unreadable.keys()];
  return [
    {
      kind: 'left-out',
      rank: 'spoils',
      frames: numbers,
      message: `${capital(framesText(numbers))} cannot be read. ${[...unreadable.values()].slice(0, 3).join(' ')}`,
      advice: `If no good copy is left, shoot ${framesText(numbers)} again.`,
    },
  ];
}

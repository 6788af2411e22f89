import { createRequire } from 'node:module';
import type { FrameExif } from './frame.js';

// By `import` Node would first look through the package's text for what it exports, which takes five times as long.
const ExifReader: typeof import('exifreader') = createRequire(import.meta.url)('exifreader');

/** Strips what precedes the byte-order mark. */
export function exifBlock(stored: Buffer): Buffer {
  return stored.toString('latin1', 0, 6) === 'Exif\0\0' ? stored.subarray(6) : stored;
}

/** As `readExif`, from an EXIF block or from the bytes of a whole file. */
export function parseExif(bytes: Buffer): FrameExif {
  const tags = loadTags(bytes);
  // Not DateTime: programs set it to the time of the last change.
  const taken =
    takenMs(text(tags.DateTimeOriginal), text(tags.SubSecTimeOriginal)) ??
    takenMs(text(tags.DateTimeDigitized), text(tags.SubSecTimeDigitized));
  return Object.assign(
    {},
    taken,
    present('exposureS', within(rational(tags.ExposureTime), 1e-6, 86_400)),
    present('fNumber', within(rational(tags.FNumber), 0.5, 512)),
    present('iso', sensitivity(tags)),
    present('focalLengthMm', within(rational(tags.FocalLength), 0.5, 10_000)),
    present('focusDistanceM', focusDistance(tags.SubjectDistance)),
    present('make', text(tags.Make)),
    present('model', text(tags.Model)),
    present('lens', text(tags.LensModel)),
    present('whiteBalance', { 0: 'auto', 1: 'manual' }[firstNumber(tags.WhiteBalance) ?? -1]),
  );
}

/** Distance that stands for infinity, m. */
const farthestM = 1e6;

type Tag = { value: unknown } | undefined;

function loadTags(bytes: Buffer): Record<string, Tag> {
  try {
    const { exif } = ExifReader.load(bytes, { expanded: true, includeTags: { exif: true } });
    return (exif ?? {}) as unknown as Record<string, Tag>;
  } catch {
    // A damaged or missing block is no reason to refuse the pixels.
    return {};
  }
}

/**
 * Capture time from `YYYY:MM:DD hh:mm:ss` and the decimal digits of its second (EXIF 2.32, 4.6.5), read as
 * if the camera's clock ran on UTC: only differences and order matter. Undefined for a date that does not
 * exist, such as the all-zero date of an unset clock.
 */
function takenMs(
  date?: string,
  subSeconds?: string,
): Pick<FrameExif, 'takenMs' | 'hasSubSeconds'> | undefined {
  const match = date?.match(/^(\d{4})[:-](\d\d)[:-](\d\d)[ T](\d\d):(\d\d):(\d\d)/);
  if (!match) return undefined;
  const [year, month, day, hour, minute, second] = match.slice(1).map(Number);
  const ms = Date.UTC(year, month - 1, day, hour, minute, second);
  const back = new Date(ms);
  const exists = back.getUTCMonth() === month - 1 && back.getUTCDate() === day && hour < 24 && minute < 60;
  if (!exists || year < 1970 || year > 2200) return undefined;
  const digits = subSeconds?.match(/^\d{1,9}/)?.[0];
  if (digits === undefined) return { takenMs: ms, hasSubSeconds: false };
  return { takenMs: ms + Number(`0.${digits}`) * 1000, hasSubSeconds: true };
}

/** 65535 stands for "more than two bytes hold": the true number is then in another tag (EXIF 2.32, table 8). */
function sensitivity(tags: Record<string, Tag>): number | undefined {
  const iso = firstNumber(tags.ISOSpeedRatings);
  return within(iso === 65_535 ? firstNumber(tags.RecommendedExposureIndex) : iso, 1, 1e7);
}

/**
 * A numerator of 0xFFFFFFFF means infinity, one of 0 that the distance is not known (EXIF 2.32, 4.6.5,
 * SubjectDistance).
 */
function focusDistance(tag: Tag): number | undefined {
  const isInfinite = Array.isArray(tag?.value) && tag.value[0] === 0xffff_ffff;
  return isInfinite ? farthestM : within(rational(tag), 0.001, farthestM);
}

function present<Key extends keyof FrameExif>(
  key: Key,
  value: FrameExif[Key] | undefined,
): Partial<FrameExif> {
  return value === undefined ? {} : { [key]: value };
}

function within(value: number | undefined, min: number, max: number): number | undefined {
  return value !== undefined && value >= min && value <= max ? value : undefined;
}

function text(tag: Tag): string | undefined {
  const value = Array.isArray(tag?.value) ? tag.value[0] : tag?.value;
  if (typeof value !== 'string') return undefined;
  // Cameras pad with zeros and blanks; control characters do not belong in a report.
  const clean = value.replace(/\p{Cc}+/gu, ' ').trim();
  return clean === '' ? undefined : clean.slice(0, 200);
}

function rational(tag: Tag): number | undefined {
  if (!Array.isArray(tag?.value)) return undefined;
  const [numerator, denominator] = tag.value;
  return typeof numerator === 'number' && typeof denominator === 'number'
    ? numerator / denominator
    : undefined;
}

function firstNumber(tag: Tag): number | undefined {
  const value = Array.isArray(tag?.value) ? tag.value[0] : tag?.value;
  return typeof value === 'number' ? value : undefined;
}

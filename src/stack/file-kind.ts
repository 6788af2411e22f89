import { extname } from 'node:path';

/** Kind of a file by its first bytes. */
export type FileKind =
  | { kind: 'picture'; format: 'jpeg' | 'png' | 'tiff' | 'webp' }
  | { kind: 'raw' }
  /** A picture of a format that Lamella does not read; `name` as people call it. */
  | { kind: 'foreign'; name: string }
  | { kind: 'unknown' };

/** Number of bytes from the start of a file that `kindOfContent` reads. */
export const headBytes = 32;

const pictureEndings = new Set(['.jpg', '.jpeg', '.jpe', '.jfif', '.png', '.tif', '.tiff', '.webp']);

const rawEndings = new Set(
  (
    '3fr ari arw bay cap cr2 cr3 crw dcr dcs dng eip erf fff gpr iiq k25 kdc mdc mef mos mrw nef nrw orf ' +
    'pef ptx pxn raf raw rw2 rwl rwz sr2 srf srw x3f'
  )
    .split(' ')
    .map((ending) => `.${ending}`),
);

/** Whether the name promises a picture of a format that is read, so that a failure deserves a warning. */
export function hasPictureEnding(name: string): boolean {
  return pictureEndings.has(extname(name).toLowerCase());
}

/** Whether the name is that of a camera raw file. */
export function hasRawEnding(name: string): boolean {
  return rawEndings.has(extname(name).toLowerCase());
}

/** Whether the name is that of a safety copy or half-transferred file, whatever it holds. */
export function isLeftover(name: string): boolean {
  return /(~|_original|\.(bak|old|orig|tmp|temp|part|partial|crdownload|download))$/i.test(name);
}

const isJpeg: FileKind = { kind: 'picture', format: 'jpeg' };
const isTiff: FileKind = { kind: 'picture', format: 'tiff' };
const isRaw: FileKind = { kind: 'raw' };
const isHeic: FileKind = { kind: 'foreign', name: 'HEIC' };
const isAvif: FileKind = { kind: 'foreign', name: 'AVIF' };
const isJpegXl: FileKind = { kind: 'foreign', name: 'JPEG XL' };
const isJpeg2000: FileKind = { kind: 'foreign', name: 'JPEG 2000' };

/** Signatures of the kinds: an offset in the file and the bytes there. The first match counts. */
const marks: [FileKind, ...[at: number, mark: string][]][] = [
  [isJpeg, [0, '\xff\xd8\xff']],
  [{ kind: 'picture', format: 'png' }, [0, '\x89PNG\r\n\x1a\n']],
  [{ kind: 'picture', format: 'webp' }, [0, 'RIFF'], [8, 'WEBP']],
  [isRaw, [0, 'II*\0'], [8, 'CR']], // CR2: before TIFF, whose mark it shares
  [isRaw, [4, 'ftypcrx']], // CR3
  [isRaw, [0, 'FUJIFILMCCD-RAW']],
  [isRaw, [0, 'IIRO']],
  [isRaw, [0, 'IIRS']],
  [isRaw, [0, 'MMOR']],
  [isRaw, [0, 'IIU\0']],
  [isRaw, [0, 'FOVb']],
  [isRaw, [0, '\0MRM']],
  [isTiff, [0, 'II*\0']],
  [isTiff, [0, 'MM\0*']],
  [isTiff, [0, 'II+\0']], // BigTIFF
  [isTiff, [0, 'MM\0+']],
  [isHeic, [4, 'ftyphei']],
  [isHeic, [4, 'ftyphev']],
  [isHeic, [4, 'ftypmif1']],
  [isHeic, [4, 'ftypmsf1']],
  [isAvif, [4, 'ftypavi']],
  [isJpegXl, [0, '\xff\x0a']],
  [isJpegXl, [0, '\0\0\0\x0cJXL ']],
  [isJpeg2000, [0, '\0\0\0\x0cjP  ']],
  [isJpeg2000, [0, '\xff\x4f\xff\x51']],
  [{ kind: 'foreign', name: 'GIF' }, [0, 'GIF8']],
  // Two letters alone would also fit a text: the reserved zeros of the header are required as well.
  [{ kind: 'foreign', name: 'BMP' }, [0, 'BM'], [6, '\0\0\0\0']],
];

/**
 * Identifies a file's kind by its first `headBytes` bytes. DNG and other raw files that are built on TIFF without a
 * mark of their own count as TIFF here; see `isRawTiff`.
 */
export function kindOfContent(head: Buffer): FileKind {
  const text = head.toString('latin1');
  const found = marks.find(([, ...needed]) => needed.every(([at, mark]) => text.startsWith(mark, at)));
  return found?.[0] ?? { kind: 'unknown' };
}

import { InputError, named } from '../errors.js';
import type { GivenOrder } from './capture-order.js';
import { keepCommonSize, orderByCommonSize } from './common-size.js';
import type { FrameFile, Stack, StackNote } from './frame.js';
import { refuseTooManyFrames } from './frame-limit.js';
import { type Inspected, inspectFile } from './inspect-file.js';
import { listFolder } from './list-folder.js';
import { mapLimited } from './map-limited.js';
import { compareNames } from './natural-order.js';
import { inspectRaw } from './raw/inspect-raw.js';
import { type PreferredTwin, settleRaws } from './raw/settle-raws.js';
import { checkSelection, type FrameSelection, selectFrames } from './select-frames.js';
import { frameNotes, twinWarnings } from './stack-notes.js';
import { countOf, someNames } from './words.js';

/** Options for reading a folder. */
export interface ReadStackOptions extends FrameSelection {
  /** Turn a file that cannot be used into an error instead of leaving it out. Default false. */
  strict?: boolean | undefined;
  /** Largest picture that is accepted, width times height. Default 250 million. */
  maxPixels?: number | undefined;
  /** Which of a camera raw file and a JPEG of the same name is used. Default raw, where all of them can be read. */
  prefer?: PreferredTwin | undefined;
  /** What orders the frames. Default: see `captureOrder`. */
  order?: GivenOrder | undefined;
  /** Files, or whole folders, that are never read as frames, such as the result folder. */
  exclude?: readonly string[] | undefined;
  /** Stops the listing with InterruptedError. */
  signal?: AbortSignal | undefined;
}

const defaultMaxPixels = 250e6;
// Headers are short reads: more in parallel only make a disk seek.
const filesAtOnce = 4;

/**
 * Lists the photographs of a folder as a stack: frames of one size in capture order (see `orderByCommonSize`), numbered
 * from 1 over the whole folder; frames that `frames` or `skip` leave out take their number with them. No pixel is
 * decoded.
 *
 * JPEG, PNG, TIFF and WebP are identified by content, camera raw files by their names too. Files that are no photographs
 * are ignored with a note; photographs that cannot be used are left out with a warning, or throw when `strict`.
 *
 * Throws UsageError for impossible frame numbers and where raw files need a package that is not installed, InputError
 * when the folder cannot be read, when fewer than two photographs are usable, and when frames differ in size.
 */
export async function readStack(folder: string, options: ReadStackOptions = {}): Promise<Stack> {
  const { strict = false, maxPixels = defaultMaxPixels, signal } = options;
  checkSelection(options);
  const names = (await listFolder(folder, options.exclude)).sort(compareNames);
  const listed = await mapLimited(names, filesAtOnce, (name) => inspectFile(folder, name, maxPixels), signal);
  const settled = await settleRaws(listed, {
    prefer: options.prefer,
    inspect: (name) => inspectRaw(folder, name, maxPixels),
    signal,
  });
  const { inspected } = settled;
  const photographs = inspected.flatMap((file) => (file.kind === 'photograph' ? [file.photograph] : []));
  const left = leftOut(inspected, strict);
  if (photographs.length < 2) throw new InputError(tooFew(folder, photographs, inspected));

  const order = orderByCommonSize(photographs, options.order);
  const numbered = order.ordered.map((photograph, i) => ({ ...photograph, number: i + 1 }));
  const selected = selectFrames(numbered, options);
  refuseTooManyFrames(
    folder,
    selected.map(({ number }) => number),
  );
  const sized = keepCommonSize(selected, strict);

  const bits = sized.frames.some((frame) => frame.bits === 16) ? 16 : 8;
  const channels = sized.frames.some((frame) => frame.channels === 3) ? 3 : 1;
  return {
    folder,
    frames: sized.frames.map(({ pages: _, ...frame }): FrameFile => ({ ...frame, bits, channels })),
    photographs: photographs.length,
    size: sized.size,
    bits,
    channels,
    orderedBy: order.orderedBy,
    notes: [
      ...left.notes,
      ...settled.notes,
      ...(order.note ? [order.note] : []),
      ...frameNotes(sized.frames),
    ],
    warnings: [...left.warnings, ...settled.warnings, ...twinWarnings(sized.frames), ...sized.warnings],
  };
}

/** Notes and warnings about the files that are not frames; throws for those that `strict` refuses. */
function leftOut(inspected: Inspected[], strict: boolean): Pick<Stack, 'notes' | 'warnings'> {
  const notes: StackNote[] = [];
  const unusable = inspected.filter((file) => file.kind === 'unusable');
  if (strict && unusable.length > 0) {
    throw new InputError(
      `${countOf(unusable.length, 'file')} cannot be used: ${reasonsOf(unusable)}. ` +
        `Repair or remove what is named, or run without ${named('strict')} to leave it out.`,
    );
  }
  const warnings = unusable.map(
    ({ name, reason, isLost }): StackNote => ({
      kind: isLost ? 'lost' : 'unfit',
      message: `${name} is left out: it ${reason}.`,
    }),
  );

  const others = inspected.filter((file) => file.kind === 'other').map((file) => file.name);
  if (others.length > 0) {
    const message = `${countOf(others.length, 'file')} ignored as no photograph: ${someNames(others)}.`;
    notes.push({ kind: 'ignored', message });
  }

  return { notes, warnings };
}

function reasonsOf(unusable: { name: string; reason: string }[]): string {
  const alike = new Map<string, string[]>();
  for (const { name, reason } of unusable) alike.set(reason, [...(alike.get(reason) ?? []), name]);
  const listed = [...alike].map(([reason, [first, ...more]]) => {
    return `${first} ${reason}${more.length > 0 ? ` (${more.length} more alike)` : ''}`;
  });
  return someNames(listed, 5);
}

function tooFew(folder: string, usable: { name: string }[], inspected: Inspected[]): string {
  const unusable = inspected.filter((file) => file.kind === 'unusable');
  const found =
    usable.length === 0
      ? `"${folder}" holds no photograph that can be used`
      : `"${folder}" holds only one photograph that can be used (${usable[0].name})`;
  const why = unusable.length > 0 ? ` Not usable: ${reasonsOf(unusable)}.` : '';
  return `${found}: a merge needs at least 2 frames of one subject, focused differently (JPEG, PNG, TIFF, WebP or camera raw files).${why}`;
}

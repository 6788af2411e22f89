import type { StackNote } from './frame.js';
import type { Photograph } from './inspect-file.js';
import { countOf, someNames, stemOf } from './words.js';

/** Notes on conversions of the frames on reading, and on differences among them. */
export function frameNotes(frames: readonly Photograph[]): StackNote[] {
  const notes: string[] = [];
  const withAlpha = frames.filter((frame) => frame.hasAlpha);
  if (withAlpha.length > 0) notes.push(`Transparency is ignored in ${whichOf(withAlpha, frames)}.`);
  const paged = frames.filter((frame) => frame.pages > 1);
  if (paged.length > 0)
    notes.push(`Only the first picture is read of ${whichOf(paged, frames)}, which hold more.`);
  const deep = frames.filter((frame) => frame.bits === 16);
  if (deep.length > 0 && deep.length < frames.length) {
    const flat = frames.filter((frame) => frame.bits === 8);
    notes.push(`Bit depth is mixed: ${whichOf(flat, frames)} with 8 bits are widened to 16.`);
  }
  const grey = frames.filter((frame) => frame.channels === 1);
  if (grey.length > 0 && grey.length < frames.length) {
    notes.push(`Colour is mixed: ${whichOf(grey, frames)} in grey are read as RGB.`);
  }
  const tags = new Set(frames.map((frame) => frame.orientation));
  if (tags.size > 1) {
    notes.push('Orientation tags differ among the frames: each frame is turned upright by its own tag.');
  }
  return notes.map((message) => ({ kind: 'reading', message }));
}

/**
 * A warning when names occur twice with different endings, as when the camera's JPEG files lie beside TIFF
 * files developed from the same exposures: both would be merged as frames.
 */
export function twinWarnings(frames: readonly Photograph[]): StackNote[] {
  const seen = new Map<string, string>();
  const twins: string[] = [];
  for (const { name } of frames) {
    const stem = stemOf(name);
    const first = seen.get(stem);
    if (first === undefined) seen.set(stem, name);
    else twins.push(`${first} and ${name}`);
  }
  if (twins.length === 0) return [];
  return [
    {
      kind: 'twins',
      message:
        `The same name occurs with two endings (${someNames(twins)}): if these are the same exposures, ` +
        'keep one kind in the folder.',
    },
  ];
}

function whichOf(some: readonly Photograph[], all: readonly Photograph[]): string {
  if (some.length === all.length) return 'all frames';
  return `${countOf(some.length, 'frame')} (${someNames(some.map((frame) => frame.name))})`;
}

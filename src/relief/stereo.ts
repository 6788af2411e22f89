import type { Size } from '../image/image.js';
import { validateOptions, withDefaults } from '../options/validate-options.js';
import { writeMarkedPicture } from '../result/marked-picture.js';
import { type OutputTarget, refuseUnfitTarget } from '../result/output-target.js';
import { readRunRecord } from '../result/read-run-record.js';
import { anaglyph } from './anaglyph.js';
import { besideResult } from './beside-result.js';
import { parallaxAt } from './parallax.js';
import { sideViews } from './side-views.js';
import { type StereoLayout, type StereoOptions, stereoOptionTable } from './stereo-options.js';

/** What a stereo picture came out as. */
export interface StereoReport {
  out: string;
  stereo: StereoLayout;
  /** Of the file, px. */
  size: Size;
  /** Of one of the two pictures, px. */
  viewSize: Size;
  /** Pixels of the composite a side of a pixel of the views. */
  cellPx: number;
  /** Columns of the composite that were cut off either side, px of the views. */
  cutPx: number;
  /** The right picture shows a depth so much farther right than the left one, px of the views: none at `nearDepth`. */
  maxParallaxPx: number;
  /** Units of depth.tif; between them parallax grows evenly. */
  nearDepth: number;
  farDepth: number;
  /** Share of the pixels that the composite hides, 0 to 100, and of these the share that a frame saw. */
  hiddenPercent: number;
  seenPercent: number;
  notes: string[];
}

/** By this a stereo picture is known again. */
const stereoMark = 'Lamella stereo picture';
/** Largest of the two pictures. */
const maxViewPixels = 24e6;
/** Columns between the pictures of a pair. */
const gapShare = 0.02;

/**
 * Makes a stereo picture from a result's relief and writes it. Nothing stands out of the picture's plane: the nearest lies in
 * it, and the farthest is no more than `comfortPercent` of the width behind.
 *
 * @throws As `makeRelief`.
 */
export async function makeStereo(
  folder: string,
  given: Partial<StereoOptions> = {},
  signal?: AbortSignal,
): Promise<StereoReport> {
  const options = withDefaults(stereoOptionTable, validateOptions(stereoOptionTable, given));
  const { stereo, out = besideResult(folder, '-stereo.jpg'), overwrite, ...viewOptions } = options;
  const record = await readRunRecord(folder);
  const target: OutputTarget = {
    path: out,
    option: 'out',
    noun: 'stereo picture',
    inputs: [folder, record.folder, options.framesFrom],
    overwrite,
    isOurs: (head) => head.includes(stereoMark),
  };
  await refuseUnfitTarget(target);
  const sides = await sideViews(folder, record, [-0.5, 0.5], maxViewPixels, viewOptions, signal);
  const { width, height, icc, parallax, cellPx, cutPx, hiddenPercent, seenPercent, notes } = sides;
  const [left, right] = sides.views;
  const picture = compose(stereo, left, right, { width, height });
  const check = () => refuseUnfitTarget(target);
  await writeMarkedPicture(out, { ...picture, channels: 3, icc }, stereoMark, {
    option: 'out',
    check,
    signal,
  });
  return {
    out,
    stereo,
    size: { width: picture.width, height: picture.height },
    viewSize: { width, height },
    cellPx,
    cutPx,
    maxParallaxPx: parallaxAt(parallax, parallax.far),
    nearDepth: parallax.near,
    farDepth: parallax.far,
    hiddenPercent,
    seenPercent,
    notes,
  };
}

function compose(
  stereo: StereoLayout,
  left: Uint8Array,
  right: Uint8Array,
  { width, height }: Size,
): Size & { pixels: Uint8Array } {
  if (stereo === 'anaglyph-grey') return { width, height, pixels: anaglyph(left, right, 'grey') };
  if (stereo === 'anaglyph-colour') return { width, height, pixels: anaglyph(left, right, 'colour') };
  if (stereo === 'top-bottom') {
    const pixels = new Uint8Array(left.length + right.length);
    pixels.set(left);
    pixels.set(right, left.length);
    return { width, height: 2 * height, pixels };
  }
  const [first, second] = stereo === 'parallel' ? [left, right] : [right, left];
  const gap = Math.round(gapShare * width);
  const whole = 2 * width + gap;
  const pixels = new Uint8Array(3 * whole * height);
  for (let y = 0; y < height; y++) {
    const row = (view: Uint8Array) => view.subarray(3 * y * width, 3 * (y + 1) * width);
    pixels.set(row(first), 3 * y * whole);
    pixels.set(row(second), 3 * (y * whole + width + gap));
  }
  return { width: whole, height, pixels };
}

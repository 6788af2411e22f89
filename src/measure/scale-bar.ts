import { InputError, named } from '../errors.js';
import { optionError } from '../option-error.js';
import { resultScale } from '../relief/scale.js';
import type { ScaleOptions } from '../relief/scale-options.js';
import { writeMarkedPicture } from '../result/marked-picture.js';
import { type OutputTarget, refuseUnfitTarget } from '../result/output-target.js';
import { readResult } from '../result/read-result.js';
import { significantNumber } from '../result/report/numbers.js';
import type { Picture } from '../result/write-composite.js';
import type { PictureRegion } from '../trace/picture-region.js';
import { quietPlace } from './quiet-place.js';
import { roundLength } from './round-length.js';
import { drawStrokes, labelSize } from './stroke-label.js';

/** How a scale bar is drawn. */
export interface ScaleBarOptions extends ScaleOptions {
  /** Length of the bar on the subject. Default: a round one, a fifth of the picture's width at most. */
  barLengthMm?: number;
  /** Replace an earlier picture with a scale bar. Default false. */
  overwrite?: boolean;
}

/** What was drawn. */
export interface ScaleBar {
  lengthMm: number;
  label: string;
  lengthPx: number;
  /** Bar and label, composite pixels. */
  box: PictureRegion;
}

/** By this a picture with a scale bar is known again. */
const barMark = 'Lamella scale bar';

/**
 * Where a picture with a scale bar may be written.
 *
 * @param inputs Folders that are read.
 */
export function scaleBarTarget(
  path: string,
  inputs: readonly (string | undefined)[],
  overwrite: boolean | undefined,
): OutputTarget {
  return {
    path,
    option: 'scaleBar',
    noun: 'picture with a scale bar',
    inputs,
    overwrite,
    isOurs: (head) => head.includes(barMark),
  };
}

/**
 * Writes a copy of the picture of a result with a scale bar in it: a plain line with its length, black or white by the
 * ground, where there is the least detail along the lower or upper edge. It holds at the anchor's plane of focus. The result
 * stays as it is.
 *
 * @param path A new file that ends in .png (bits and profile as the picture) or .jpg.
 * @throws UsageError when the bar does not fit; InputError when no scale is known or the result cannot be read; OutputError
 *   when the file lies in a result or among photographs, is there and no such picture, or cannot be written.
 */
export async function writeScaleBar(
  folder: string,
  path: string,
  { barLengthMm, overwrite, ...lengths }: Partial<ScaleBarOptions> = {},
): Promise<ScaleBar> {
  const result = await readResult(folder);
  const { record } = result;
  const target = scaleBarTarget(path, [folder, record.folder], overwrite);
  await refuseUnfitTarget(target);
  const { mmPerPixel } = resultScale(record, lengths);
  if (mmPerPixel === undefined) {
    throw new InputError(
      `A scale bar needs the size of a pixel on the subject, which ${folder} does not know: give ${named('fieldWidthMm')}, or ${named('magnification')} and ${named('pixelPitchUm')}.`,
    );
  }
  const picture = await result.readComposite();
  const lengthMm = barLengthMm ?? roundLength((picture.width * mmPerPixel) / 5);
  const bar = drawBar(picture, lengthMm, lengthMm / mmPerPixel);
  const check = () => refuseUnfitTarget(target);
  await writeMarkedPicture(path, picture, barMark, { option: 'scaleBar', check });
  return bar;
}

/** Height of the letters, in the unit of the bar's half thickness. */
const capitalDots = 8;

/** Draws into the pixels. */
function drawBar(picture: Picture, lengthMm: number, exactPx: number): ScaleBar {
  const { width, height } = picture;
  const shorter = Math.min(width, height);
  const dot = Math.max(1, Math.round(shorter / 300));
  const thickness = Math.max(2, 2 * dot);
  const margin = Math.max(4, Math.round(shorter / 40));
  const label = lengthText(lengthMm);
  const lengthPx = Math.max(1, Math.round(exactPx));
  const capitalPx = capitalDots * dot;
  const labelBox = labelSize(label, capitalPx);
  const box = { width: Math.max(lengthPx, labelBox.width), height: labelBox.height + dot + thickness };
  if (box.width + 2 * margin > width || box.height + 2 * margin > height) {
    throw optionError('barLengthMm', `a bar and label that fit into ${width} x ${height} pixels`, lengthMm, {
      shown: `${lengthMm} mm, which are ${lengthPx} pixels`,
    });
  }
  // With a rim, so that nothing touches the letters.
  const roomy = { width: box.width + 2 * dot, height: box.height + 2 * dot };
  const place = quietPlace(picture, roomy, margin - dot);
  const [left, top] = [place.x + dot, place.y + dot];
  const ink = isDark(picture, place) ? 1 : 0;
  const { pixels, channels } = picture;
  const value = ink * (pixels instanceof Uint16Array ? 65_535 : 255);
  const labelLeft = left + Math.round((box.width - labelBox.width) / 2);
  drawStrokes(label, capitalPx, (x, y, share) => {
    const from = ((top + y) * width + labelLeft + x) * channels;
    for (let i = from; i < from + channels; i++) {
      pixels[i] = Math.round(pixels[i] + share * (value - pixels[i]));
    }
  });
  const barLeft = left + Math.round((box.width - lengthPx) / 2);
  for (let row = top + box.height - thickness; row < top + box.height; row++) {
    const from = (row * width + barLeft) * channels;
    pixels.fill(value, from, from + lengthPx * channels);
  }
  return { lengthMm, label, lengthPx, box: { x: left, y: top, ...box } };
}

/** "2 mm", and in µm what is shorter than one. */
function lengthText(lengthMm: number): string {
  return lengthMm < 0.9995
    ? `${significantNumber(lengthMm * 1000, 4)} µm`
    : `${significantNumber(lengthMm, 4)} mm`;
}

function isDark({ pixels, width, channels }: Picture, place: PictureRegion): boolean {
  let sum = 0;
  for (let y = place.y; y < place.y + place.height; y++) {
    const from = (y * width + place.x) * channels;
    for (let i = from; i < from + place.width * channels; i++) sum += pixels[i];
  }
  const max = pixels instanceof Uint16Array ? 65_535 : 255;
  return sum / (place.width * place.height * channels) < max / 2;
}

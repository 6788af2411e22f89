import type { OptionSpec, OptionTable } from '../options/option.js';
import { choice, fileName, folderPath, number, toggle } from '../options/option-kinds.js';
import { type ScaleOptions, scaleOptionTable } from './scale-options.js';

/** How the two views of a stereo picture lie in its file. */
export const stereoLayouts = [
  'parallel',
  'crossed',
  'top-bottom',
  'anaglyph-grey',
  'anaglyph-colour',
] as const;

/** How the two pictures of a pair are put together. */
export type StereoLayout = (typeof stereoLayouts)[number];

/** What a stereo picture is made with. */
export interface StereoOptions extends ScaleOptions {
  stereo: StereoLayout;
  /** File to write, .jpg or .png. Default: the result's name with -stereo.jpg, beside it. */
  out?: string;
  /** Largest parallax, percent of the picture's width. Default 3.3. */
  comfortPercent: number;
  framesFrom?: string;
  /** Replace an earlier stereo picture. Default false. */
  overwrite: boolean;
}

/**
 * A thirtieth: eyes bear differences of one degree (Lambooij, IJsselsteijn, Fortuin & Heynderickx, "Visual discomfort and
 * visual fatigue of stereoscopic displays: a review", J. Imaging Sci. Technol. 53(3), 2009) of a picture that is looked at
 * under thirty (SMPTE EG 18, 1994). Both from memory.
 */
export const defaultComfortPercent = 3.3;

export const comfortOption: OptionSpec<number> = {
  kind: number(0.1, 10, 'percent'),
  group: 'To show',
  help: "largest parallax between near and far, as a share of the picture's width; the default is one degree where the picture fills thirty degrees of the view",
  default: defaultComfortPercent,
};

export const framesOption: OptionSpec<string> = {
  kind: folderPath(),
  group: 'To show',
  help: 'where the frames lie now, if they moved since the merge; they fill what the composite hides',
};

export const stereoOptionTable: OptionTable<StereoOptions> = {
  stereo: {
    kind: choice(...stereoLayouts),
    group: 'To show',
    help: 'write a stereo picture instead: a pair side by side for parallel or crossed eyes, a pair one above the other, or one picture for red-cyan glasses, in grey or in colour',
    default: 'parallel',
    defaultText: 'none',
  },
  out: { kind: fileName('FILE', '.jpg', '.png'), help: 'file to write' },
  comfortPercent: comfortOption,
  framesFrom: framesOption,
  ...scaleOptionTable,
  overwrite: { kind: toggle, help: 'replace an earlier one' },
};

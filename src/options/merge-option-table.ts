import { availableParallelism } from 'node:os';
import type { MergeOptions } from './merge-options.js';

/** What values an option takes; validation, flag parsing and help all follow from it. */
export type OptionKind =
  | { type: 'choice'; values: readonly (string | number)[] }
  | { type: 'number'; min: number; max: number; whole: boolean }
  | { type: 'anchor' }
  | { type: 'frameRange' }
  | { type: 'frameList' }
  | { type: 'positions' }
  | { type: 'switch' };

/** One option, declared once. */
export interface OptionSpec {
  key: keyof MergeOptions;
  /** Name on the command line, without the dashes. */
  flag: string;
  /** What stands for the value in help, e.g. 'MM'; absent for switches and choices. */
  placeholder?: string;
  unit?: string;
  kind: OptionKind;
  group: 'Picture' | 'Scale and depth' | 'Frames' | 'Machine and files';
  help: string;
  /** Value when none is given; absent when the option then stays unset. */
  defaultValue?: () => unknown;
  /** The default in words, for help. */
  defaultText?: string;
}

/** Highest frame number an option may name; stacks are far shorter. */
export const maxFrameNumber = 100_000;

/** Farthest rail position from zero, mm. */
export const maxPositionMm = 10_000;

const maxThreads = 256;

const number = (min: number, max: number): OptionKind => ({ type: 'number', min, max, whole: false });
const whole = (min: number, max: number): OptionKind => ({ type: 'number', min, max, whole: true });
const choice = (...values: (string | number)[]): OptionKind => ({ type: 'choice', values });

/** Every option of a merge, in the order of the help. */
export const mergeOptionTable: readonly OptionSpec[] = [
  {
    key: 'rule',
    flag: 'rule',
    kind: choice('auto', 'select', 'weigh'),
    group: 'Picture',
    help: 'source rule: select takes each detail from the frame where it is strongest, weigh follows the surface, auto joins the two and clears the blur of near things from what lies behind',
    defaultValue: () => 'auto',
    defaultText: 'auto',
  },
  {
    key: 'anchor',
    flag: 'anchor',
    placeholder: 'first|middle|last|N',
    kind: { type: 'anchor' },
    group: 'Picture',
    help: 'frame whose framing the result keeps; N is a frame number from 1',
    defaultValue: () => 'middle',
    defaultText: 'middle',
  },
  {
    key: 'crop',
    flag: 'crop',
    kind: choice('common', 'anchor'),
    group: 'Picture',
    help: 'common cuts to where every frame reaches, so that nothing is blurred for want of the frame that is sharp there; anchor keeps the whole framing of the anchor',
    defaultValue: () => 'common',
    defaultText: 'common',
  },
  {
    key: 'bits',
    flag: 'bits',
    kind: choice(8, 16),
    group: 'Picture',
    help: 'bits of each channel of the composite',
    defaultText: 'as the frames; 8 for jpg',
  },
  {
    key: 'format',
    flag: 'format',
    kind: choice('tif', 'png', 'jpg'),
    group: 'Picture',
    help: 'file type of the composite',
    defaultValue: () => 'tif',
    defaultText: 'tif',
  },
  {
    key: 'stepMm',
    flag: 'step',
    placeholder: 'MM',
    unit: 'mm',
    kind: number(0.00001, 1000),
    group: 'Scale and depth',
    help: 'rail travel from one frame to the next',
    defaultText: 'unknown, so that depth is in steps',
  },
  {
    key: 'positionsMm',
    flag: 'positions',
    placeholder: 'FILE.csv',
    unit: 'mm',
    kind: { type: 'positions' },
    group: 'Scale and depth',
    help: 'rail position of each frame: one position a line in capture order, or frame,position; instead of one step',
  },
  {
    key: 'direction',
    flag: 'direction',
    kind: choice('auto', 'near-to-far', 'far-to-near'),
    group: 'Scale and depth',
    help: 'order in which the frames were focused; give it when a merge says that it does not know. auto goes by the focused distances in the EXIF where they change one way, else by what the pictures show (far detail seen through the blurred rims of near things), else, where the travel of a rail is given or the pictures lean the same way, by the growth of the picture as before a rail',
    defaultValue: () => 'auto',
    defaultText: 'auto',
  },
  {
    key: 'fieldWidthMm',
    flag: 'field-width',
    placeholder: 'MM',
    unit: 'mm',
    kind: number(0.001, 10_000),
    group: 'Scale and depth',
    help: "width of the subject across the anchor's frame at its plane of focus",
    defaultText: 'unknown, so that lengths are in pixels',
  },
  {
    key: 'magnification',
    flag: 'magnification',
    placeholder: 'M',
    kind: number(0.001, 1000),
    group: 'Scale and depth',
    help: 'size on the sensor over size of the subject, e.g. 2.5; with the pixel pitch, instead of the field width',
  },
  {
    key: 'pixelPitchUm',
    flag: 'pixel-pitch',
    placeholder: 'UM',
    unit: 'µm',
    kind: number(0.1, 100),
    group: 'Scale and depth',
    help: 'distance between pixels on the sensor; with the magnification',
  },
  {
    key: 'motion',
    flag: 'motion',
    kind: choice('scale', 'similarity', 'shift', 'none'),
    group: 'Frames',
    help: 'motion taken out between frames: scale is scale and shift, with a small roll where the frames show it; similarity is scale, shift and any roll',
    defaultValue: () => 'scale',
    defaultText: 'scale',
  },
  {
    key: 'frames',
    flag: 'frames',
    placeholder: 'A-B',
    kind: { type: 'frameRange' },
    group: 'Frames',
    help: 'use frames A to B only, counted from 1 in capture order',
    defaultText: 'all',
  },
  {
    key: 'skip',
    flag: 'skip',
    placeholder: 'N,N|A-B',
    kind: { type: 'frameList' },
    group: 'Frames',
    help: 'leave these frames out, such as 12,31 or 1-4,31',
    defaultValue: () => [],
    defaultText: 'none',
  },
  {
    key: 'strict',
    flag: 'strict',
    kind: { type: 'switch' },
    group: 'Frames',
    help: 'fail when a frame cannot be read or aligned, instead of leaving it out with a warning',
    defaultValue: () => false,
  },
  {
    key: 'threads',
    flag: 'threads',
    placeholder: 'N',
    kind: whole(1, maxThreads),
    group: 'Machine and files',
    help: 'threads that compute; the result is the same for any number',
    defaultValue: () => Math.min(maxThreads, availableParallelism()),
    defaultText: 'one a core',
  },
  {
    key: 'memoryMb',
    flag: 'memory',
    placeholder: 'MB',
    unit: 'MB',
    kind: number(256, 1_048_576),
    group: 'Machine and files',
    help: 'most memory the merge may take: it uses fewer threads where that helps, and refuses before the work what needs more',
    defaultText: 'no bound of its own',
  },
  {
    key: 'maxMegapixels',
    flag: 'max-megapixels',
    placeholder: 'MP',
    unit: 'megapixels',
    kind: number(0.01, 4000),
    group: 'Machine and files',
    help: 'largest frame that is read; a damaged or hostile file may claim any size',
    defaultValue: () => 250,
    defaultText: '250',
  },
  {
    key: 'overwrite',
    flag: 'overwrite',
    kind: { type: 'switch' },
    group: 'Machine and files',
    help: 'replace an earlier result folder as a whole',
    defaultValue: () => false,
  },
];

/** The values an option takes in words, e.g. 'a number from 0.00001 to 1000 mm'. */
export function describeRange(spec: OptionSpec): string {
  const { kind } = spec;
  switch (kind.type) {
    case 'choice':
      return listWords(kind.values.map(String));
    case 'number': {
      const noun = kind.whole ? 'a whole number' : 'a number';
      return `${noun} from ${kind.min} to ${kind.max}${spec.unit ? ` ${spec.unit}` : ''}`;
    }
    case 'anchor':
      return `first, middle, last or a frame number from 1 to ${maxFrameNumber}`;
    case 'frameRange':
      return 'two frame numbers from 1, the lower first, such as 5-80,';
    case 'frameList':
      return 'frame numbers from 1 with commas between, such as 12,31 or 1-4,31,';
    case 'positions':
      return `two or more positions in mm from ${-maxPositionMm} to ${maxPositionMm}, all rising or all falling,`;
    case 'switch':
      return 'true or false';
  }
}

function listWords(words: string[]): string {
  return words.length < 2 ? words.join('') : `${words.slice(0, -1).join(', ')} or ${words.at(-1)}`;
}

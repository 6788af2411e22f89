import { availableParallelism } from 'node:os';
import { colourSpaces } from '../stack/raw/colour-space.js';
import { anchorFrame, frameList, frameRange, railPositions, relativePositions } from './frame-kinds.js';
import type { MergeOptions } from './merge-options.js';
import type { OptionTable } from './option.js';
import { choice, device, folderPath, number, ratio, toggle, whole } from './option-kinds.js';
import { whiteBalance } from './raw-kinds.js';

const maxThreads = 256;

/** Every option of a merge, in the order of the help. */
export const mergeOptionTable: OptionTable<MergeOptions> = {
  rule: {
    kind: choice('auto', 'select', 'weigh'),
    group: 'Picture',
    help: 'source rule: select takes each detail from the frame where it is strongest, weigh follows the surface, auto joins the two and clears the blur of near things from what lies behind',
    default: 'auto',
  },
  anchor: {
    kind: anchorFrame,
    group: 'Picture',
    help: 'frame whose framing the result keeps; N is a frame number from 1',
    default: 'middle',
  },
  crop: {
    kind: choice('common', 'anchor'),
    group: 'Picture',
    help: 'common cuts to where every frame reaches, so that nothing is blurred for want of the frame that is sharp there; anchor keeps the whole framing of the anchor',
    default: 'common',
  },
  bits: {
    kind: choice(8, 16),
    group: 'Picture',
    help: 'bits of each channel of the composite',
    defaultText: 'as the frames; 8 for jpg',
  },
  format: {
    kind: choice('tif', 'png', 'jpg'),
    group: 'Picture',
    help: 'file type of the composite',
    default: 'tif',
  },
  preview: {
    kind: choice(2, 4, 8),
    group: 'Picture',
    help: 'quick look: merge everything at a half, a quarter or an eighth of each side; files, record and report are marked as a preview',
    defaultText: 'none: at full size',
  },
  stepMm: {
    kind: number(0.00001, 1000, 'mm'),
    group: 'Scale and depth',
    help: 'rail travel from one frame to the next',
    defaultText: 'unknown, so that depth is in steps',
  },
  positionsMm: {
    kind: railPositions,
    group: 'Scale and depth',
    help: 'rail position of each frame, as a log of the rail: one position a line in capture order, or columns by name; instead of one step',
  },
  relativePositions: {
    kind: relativePositions,
    group: 'Scale and depth',
    help: 'the same where the length of their unit is not known, such as focus steps of the camera: depth is then in steps, but follows their differences',
  },
  direction: {
    kind: choice('auto', 'near-to-far', 'far-to-near'),
    group: 'Scale and depth',
    help: 'order in which the frames were focused; give it when a merge says that it does not know. auto goes by the focused distances in the EXIF where they change one way, else by what the pictures show (far detail seen through the blurred rims of near things), else, where the travel of a rail is given or the pictures lean the same way, by how the picture grows or shrinks from frame to frame, as it does when a rail moves the camera',
    default: 'auto',
  },
  fieldWidthMm: {
    kind: number(0.001, 10_000, 'mm'),
    group: 'Scale and depth',
    help: "width of the subject across the anchor's frame at its plane of focus",
    defaultText: 'unknown, so that lengths are in pixels',
  },
  magnification: {
    kind: ratio(0.001, 1000),
    group: 'Scale and depth',
    help: 'size on the sensor over size of the subject, e.g. 2.5; with the pixel pitch, instead of the field width',
  },
  pixelPitchUm: {
    kind: number(0.1, 100, 'µm'),
    group: 'Scale and depth',
    help: 'distance between pixels on the sensor; with the magnification',
  },
  motion: {
    kind: choice('scale', 'similarity', 'shift', 'none'),
    group: 'Frames',
    help: 'motion taken out between frames: scale is scale and shift, with a small roll where the frames show it; similarity is scale, shift and any roll',
    default: 'scale',
  },
  frames: {
    kind: frameRange,
    group: 'Frames',
    help: 'use frames A to B only, counted from 1 in capture order',
    defaultText: 'all',
  },
  skip: {
    kind: frameList,
    group: 'Frames',
    help: 'leave these frames out, such as 12,31 or 1-4,31',
    default: [],
    defaultText: 'none',
  },
  order: {
    kind: choice('time', 'name'),
    group: 'Frames',
    help: 'order the frames by the capture time in their EXIF, or by the names of their files',
    defaultText: 'by time, where every frame has one of its own, else by name',
  },
  strict: {
    kind: toggle,
    group: 'Frames',
    help: 'fail when a frame cannot be read or aligned, instead of leaving it out with a warning',
  },
  prefer: {
    kind: choice('raw', 'jpeg'),
    group: 'Camera raw files',
    help: 'which to use of a camera raw file and a JPEG of the same name',
    defaultText: 'raw, where all of them can be read',
  },
  whiteBalance: {
    kind: whiteBalance,
    group: 'Camera raw files',
    help: 'white balance of all frames: what the camera noted at the anchor, daylight (6500 K), or factors of red, green and blue',
    default: 'camera',
  },
  exposureStops: {
    kind: number(-5, 5, 'stops'),
    group: 'Camera raw files',
    help: 'brighter (or, below zero, darker) by so many stops than the sensor recorded',
    default: 0,
  },
  colourSpace: {
    kind: choice(...colourSpaces),
    group: 'Camera raw files',
    help: 'colour space of the composite; rec2020 is a wide one, with the tone curve of sRGB',
    default: 'srgb',
  },
  scratch: {
    kind: folderPath(),
    group: 'Machine and files',
    help: 'folder below which developed raw files are kept until the merge ends: 6 bytes a pixel for each frame',
    defaultText: 'the folder of the result',
  },
  threads: {
    kind: whole(1, maxThreads),
    group: 'Machine and files',
    help: 'threads that compute; the result is the same for any number',
    default: () => Math.min(maxThreads, availableParallelism()),
    defaultText: 'one a core',
  },
  device: {
    kind: device,
    group: 'Machine and files',
    help: 'what computes: cpu, the processor; gpu, a graphics processor, or gpu:N one of several (lamella devices lists them); auto takes a graphics processor where there is one. Differences are far below what can be seen',
    default: 'auto',
  },
  memoryMb: {
    kind: number(256, 1_048_576, 'MB'),
    group: 'Machine and files',
    help: 'most memory the merge may take: within it decoded frames are kept between the passes; it uses fewer threads where that helps, and refuses before the work what needs more',
    defaultText: 'what it needs, and half of what is free for frames to be kept',
  },
  maxMegapixels: {
    kind: number(0.01, 4000, 'megapixels'),
    group: 'Machine and files',
    help: 'largest frame that is read; a damaged or hostile file may claim any size',
    default: 250,
  },
  overwrite: {
    kind: toggle,
    group: 'Machine and files',
    help: 'replace an earlier result folder as a whole',
  },
};

/** Options of which one takes the place of the other: whoever gives both contradicts himself. */
export const mergeAlternatives: readonly (readonly (keyof MergeOptions)[])[][] = [
  [['stepMm'], ['positionsMm']],
  [['stepMm'], ['relativePositions']],
  [['positionsMm'], ['relativePositions']],
  [['fieldWidthMm'], ['magnification', 'pixelPitchUm']],
];

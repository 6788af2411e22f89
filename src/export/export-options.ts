import type { OptionKind, OptionTable } from '../options/option.js';
import { folderPath, number, toggle } from '../options/option-kinds.js';

/** What is exported of a result, and where to; one part at least. */
export interface ExportOptions {
  /** Frames as the composite sees them, each a TIFF. */
  aligned: boolean;
  /** Composite and frames as the layers of one OpenRaster file. */
  layers: boolean;
  /** For each frame a mask of what it supplied, as PNG. */
  masks: boolean;
  /** Composites of so many neighbouring frames each, of which so many are in the next one too. */
  runs?: [frames: number, overlap: number];
  /** Depth as a 16-bit PNG with its mapping. */
  depth: boolean;
  /** Frames that supply less of the picture get no file, layer or mask, percent. Default 0.1; 0: all in use. */
  minSharePercent: number;
  /** Folder of the export. Default: the result's with "-export" behind it. */
  out?: string;
  /** Replace an earlier export as a whole. Default false. */
  overwrite: boolean;
  /** Where the frames lie now, when they moved. */
  framesFrom?: string;
}

/** The parts of an export, by their fields. */
export const exportParts = ['aligned', 'layers', 'masks', 'runs', 'depth'] as const;

const runsKind: OptionKind<[number, number]> = {
  range: 'a number of frames from 2, a comma, and an overlap that is smaller, such as 10,3,',
  isValid: (value): value is [number, number] =>
    Array.isArray(value) &&
    value.length === 2 &&
    value.every(Number.isSafeInteger) &&
    value[0] >= 2 &&
    value[1] >= 0 &&
    value[1] < value[0],
  read: (text) => (/^\s*\d{1,5}\s*,\s*\d{1,5}\s*$/.test(text) ? text.split(',').map(Number) : undefined),
  valueName: 'N,OVERLAP',
};

export const exportOptionTable: OptionTable<ExportOptions> = {
  aligned: { kind: toggle, help: 'frames aligned to the picture and in its light, as TIFF with profile' },
  layers: {
    kind: toggle,
    help: 'one OpenRaster file: the picture, and over it each frame with a mask of what it supplied',
  },
  masks: { kind: toggle, help: 'for each frame a PNG that is white where it supplied the picture' },
  runs: {
    kind: runsKind,
    help: 'composites of N neighbouring frames each, of which OVERLAP are in the next one too, as TIFF',
  },
  depth: { kind: toggle, help: 'depth as 16-bit PNG, with its mapping to mm or steps' },
  minSharePercent: {
    kind: number(0, 100, 'percent'),
    help: 'leave out frames that supply less of the picture than this; 0 takes all in use',
    default: 0.1,
  },
  out: { kind: folderPath(), help: 'folder to write', defaultText: 'the result with "-export" behind it' },
  overwrite: { kind: toggle, help: 'replace an earlier export as a whole' },
  framesFrom: { kind: folderPath(), help: 'where the frames lie now, if they moved since the merge' },
};

import { UsageError } from '../errors.js';
import { cutoffKind, type MeasureOptions, measureOptionTable } from '../measure/measure-options.js';
import { parseMendRegion } from '../mend/mend-region.js';
import { optionError } from '../option-error.js';
import type { OptionKind, OptionTable } from '../options/option.js';
import { fileName, number, several, text, toggle } from '../options/option-kinds.js';
import type { MeasureRequest } from '../result/measures-file.js';
import type { MeasurePoint } from '../result/region-shape.js';
import { jsonAnswer } from './common-options.js';

/** What `lamella measure` takes beside the options of its lengths. */
export interface OwnOptions {
  distance: string[];
  height: string[];
  angle: string[];
  profile: string[];
  stepHeight: string[];
  roughness: string[];
  area: string[];
  volume: string[];
  sphere: string[];
  plane?: string;
  cutoff?: { value: number; unit: 'mm' | 'px' };
  note?: string;
  drop: number[];
  list: boolean;
  table?: string;
  curve?: string;
  scaleBar?: string;
  barLengthMm?: number;
  sensorWidthMm?: number;
  printWidthMm?: number;
  overwrite: boolean;
  json: boolean;
}

export type MeasureFlags = OwnOptions & MeasureOptions;

const points = (count: number) =>
  several(
    text(
      `${count} points "${new Array(count).fill('x,y').join(' ')}"`,
      /^/,
      new Array(count).fill('x,y').join(' '),
    ),
  );
const region = several(text('a region', /^/, 'x,y,w,h|polygon'));
const ids: OptionKind<number[]> = {
  range: 'the ids of measures with commas between, such as 2,5,',
  isValid: (value): value is number[] => Array.isArray(value),
  read: (given) => (/^\d{1,9}(,\d{1,9})*$/.test(given) ? given.split(',').map(Number) : undefined),
  valueName: 'ID',
  unset: [],
};

const measuring = 'What to measure';
const files = 'Files';

/** What the command line of `lamella measure` takes. */
export const measureFlags: OptionTable<MeasureFlags> = {
  distance: { kind: points(2), group: measuring, help: 'distance in the picture, across and in space' },
  height: {
    kind: points(2),
    group: measuring,
    help: 'how much farther from the camera the second point lies',
  },
  angle: { kind: points(3), group: measuring, help: 'angle at the second point' },
  profile: { kind: points(2), group: measuring, help: 'profile along a line' },
  stepHeight: {
    kind: points(2),
    group: measuring,
    help: 'height of a step that a line crosses, by ISO 5436-1',
  },
  roughness: {
    kind: several(text('two points or a region', /^/, 'x,y x,y|x,y,w,h|polygon')),
    group: measuring,
    help: 'Ra and Rq along a line (ISO 4287), Sa and Sq of a region (ISO 25178)',
  },
  area: { kind: region, group: measuring, help: 'area as the camera sees it, and area of the surface' },
  volume: { kind: region, group: measuring, help: 'volume above and below a plane' },
  sphere: { kind: region, group: measuring, help: 'radius of the sphere that fits a region best' },
  plane: {
    kind: text('three points "x,y x,y x,y"', /^/, 'x,y x,y x,y'),
    group: measuring,
    help: 'plane of a volume',
    defaultText: "fitted to the region's rim",
  },
  cutoff: {
    kind: cutoffKind,
    group: measuring,
    help: 'cut-off wavelength of roughness, in mm or as 50px',
    defaultText: 'the longest of 8, 2.5, 0.8, 0.25, 0.08 mm and so on that goes five times into the length',
  },
  note: {
    kind: {
      ...text('1000 characters at most', /^[\s\S]{0,1000}$/, 'TEXT'),
      show: (value) => String(String(value).length),
    },
    group: measuring,
    help: 'text for the list',
  },
  drop: { kind: ids, help: 'remove measures from the list, by their ids' },
  list: { kind: toggle, help: 'list the measures and the scale, and change nothing' },
  table: {
    kind: fileName('FILE', '.csv', '.json'),
    group: files,
    help: 'write all measures of the result as .csv or .json',
  },
  curve: {
    kind: fileName('FILE', '.csv', '.svg'),
    group: files,
    help: 'write the profile that is measured as .csv or .svg',
  },
  scaleBar: {
    kind: fileName('FILE', '.png', '.jpg'),
    group: files,
    help: 'write a copy of the picture with a scale bar, where it hides least',
  },
  barLengthMm: {
    kind: number(1e-6, 10_000, 'mm'),
    group: files,
    help: 'length of the scale bar',
    defaultText: "a round one, up to a fifth of the picture's width",
  },
  overwrite: { kind: toggle, group: files, help: 'replace earlier files of these kinds' },
  ...measureOptionTable,
  sensorWidthMm: {
    kind: number(0.1, 1000, 'mm'),
    group: 'Scale',
    help: 'width of the sensor, from which the magnification on it follows',
  },
  printWidthMm: {
    kind: number(1, 100_000, 'mm'),
    group: 'Scale',
    help: 'width of the picture on paper, from which the magnification of the print follows',
  },
  json: jsonAnswer,
};

/** What is to be measured, in the order of the help. Throws UsageError. */
export function requestsOf(flags: MeasureFlags): MeasureRequest[] {
  const { note, cutoff } = flags;
  const withNote = note === undefined ? {} : { note };
  const onPoints = (kind: MeasureRequest['kind'], texts: readonly string[], count: number, option: string) =>
    texts.map((given): MeasureRequest => ({ kind, points: readPoints(given, count, option), ...withNote }));
  const onRegion = (given: string, option: string) => {
    try {
      return parseMendRegion(given);
    } catch {
      throw optionError(option, 'x,y,w,h in whole pixels, or three or more corners "x,y x,y x,y",', given);
    }
  };
  const plane = flags.plane === undefined ? {} : { plane: readPoints(flags.plane, 3, 'plane') };
  const cut = cutoff === undefined ? {} : { cutoff };
  return [
    ...onPoints('distance', flags.distance, 2, 'distance'),
    ...onPoints('height', flags.height, 2, 'height'),
    ...onPoints('angle', flags.angle, 3, 'angle'),
    ...onPoints('profile', flags.profile, 2, 'profile'),
    ...onPoints('step-height', flags.stepHeight, 2, 'stepHeight'),
    ...flags.area.map((given) => ({ kind: 'area' as const, region: onRegion(given, 'area'), ...withNote })),
    ...flags.volume.map((given) => ({
      kind: 'volume' as const,
      region: onRegion(given, 'volume'),
      ...plane,
      ...withNote,
    })),
    ...flags.sphere.map((given) => ({
      kind: 'sphere' as const,
      region: onRegion(given, 'sphere'),
      ...withNote,
    })),
    ...flags.roughness.map((given): MeasureRequest => {
      const pair = pointsIn(given);
      const where = pair?.length === 2 ? { points: pair } : { region: onRegion(given, 'roughness') };
      return { kind: 'roughness', ...where, ...cut, ...withNote };
    }),
  ];
}

function readPoints(given: string, count: number, option: string): MeasurePoint[] {
  const found = pointsIn(given);
  if (found?.length === count) return found;
  throw optionError(option, `${count} points "${new Array(count).fill('x,y').join(' ')}"`, given);
}

/** "x,y x,y ..." with blanks or semicolons between points; undefined for any other text. */
function pointsIn(given: string): MeasurePoint[] | undefined {
  const parts = given.trim().split(/\s*;\s*|\s+/);
  const found = parts.map((part) => /^(\d+(?:\.\d+)?),(\d+(?:\.\d+)?)$/.exec(part));
  return found.every((match) => match !== null)
    ? found.map((match): MeasurePoint => [Number(match![1]), Number(match![2])])
    : undefined;
}

/** Refuses flags that mean nothing together. Throws UsageError. */
export function checkFlags(flags: MeasureFlags, requests: readonly MeasureRequest[]): void {
  const { list, note, plane, cutoff, curve, barLengthMm, scaleBar, volume, roughness, drop } = flags;
  if (list && requests.length + drop.length > 0) {
    throw new UsageError('Expected --list or something to measure or drop but received both');
  }
  for (const [flag, isGiven, needs, isMet] of [
    ['--note', note !== undefined, 'something to measure', requests.length > 0],
    ['--plane', plane !== undefined, '--volume', volume.length > 0],
    ['--cutoff', cutoff !== undefined, '--roughness', roughness.length > 0],
    ['--bar-length', barLengthMm !== undefined, '--scale-bar', scaleBar !== undefined],
  ] as const) {
    if (isGiven && !isMet)
      throw new UsageError(`Expected ${needs} beside ${flag} but received ${flag} alone`);
  }
  const lines = requests.filter(
    ({ kind, points }) => points && (kind === 'profile' || kind === 'step-height' || kind === 'roughness'),
  );
  if (curve !== undefined && lines.length !== 1) {
    throw new UsageError(
      `Expected one profile, step height or roughness along a line with --curve but received ${lines.length}`,
    );
  }
}

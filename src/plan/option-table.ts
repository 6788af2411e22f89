import { findSensorFormat, sensorFormats } from '../optics/sensor-formats.js';
import type { PlanOptions } from './plan-options.js';

/** How a text is read as a number: with the option's unit or one of its kind, as 1:2, or as f/8. */
export type Reading = 'quantity' | 'ratio' | 'fNumber';

/** What values an option takes; checks, flags and help follow from it. */
export type PlanOptionKind =
  | { type: 'number'; min: number; max: number; reads: Reading }
  | { type: 'numberOrInfinity'; min: number; max: number }
  | { type: 'choice'; values: readonly string[] }
  | { type: 'sensor' | 'pixels' | 'circle' | 'switch' };

/** One option, declared once. */
export interface PlanOptionSpec {
  key: keyof PlanOptions;
  /** Name on the command line, without the dashes. */
  flag: string;
  placeholder?: string;
  unit?: string;
  kind: PlanOptionKind;
  group: 'Lens' | 'Measured instead' | 'Sensor' | 'Stack' | 'Rail' | 'Landscape';
  help: string;
  /** Why values outside of the range cannot be; ends the message that refuses one. */
  why?: string;
  defaultText?: string;
  /** Options of one kind of plan are refused in the other. Absent: of both. */
  only?: 'stack' | 'landscape';
}

const number = (min: number, max: number, reads: Reading = 'quantity'): PlanOptionKind => ({
  type: 'number',
  min,
  max,
  reads,
});

/** Sides of a sensor, mm. */
const minSideMm = 0.5;
const maxSideMm = 500;
const minPixels = 16;
const maxPixels = 1e6;
const minCircleMm = 0.0001;
const maxCircleMm = 1;

/** Every option of a plan, in the order of the help. */
export const planOptionTable: readonly PlanOptionSpec[] = [
  {
    key: 'focalLengthMm',
    flag: 'focal-length',
    placeholder: 'MM',
    unit: 'mm',
    kind: number(1, 5000),
    group: 'Lens',
    help: 'focal length of the lens as it is focused',
    why: 'a lens that forms a picture has a focal length above zero',
  },
  {
    key: 'ownMagnification',
    flag: 'own-magnification',
    placeholder: 'M|infinity',
    kind: { type: 'numberOrInfinity', min: 0, max: 100 },
    group: 'Lens',
    help: 'magnification of the lens without tubes as it is focused, such as 1 or 1:2',
    why: 'it is a size on the sensor over a size of the subject, 0 at infinity',
    defaultText: 'infinity',
    only: 'stack',
  },
  {
    key: 'extensionMm',
    flag: 'extension',
    placeholder: 'MM',
    unit: 'mm',
    kind: number(0, 2000),
    group: 'Lens',
    help: 'tubes or bellows between lens and camera',
    why: 'tubes can only move the lens away from the sensor',
    defaultText: '0',
    only: 'stack',
  },
  {
    key: 'pupilRatio',
    flag: 'pupil-ratio',
    placeholder: 'P',
    kind: number(0.05, 20, 'ratio'),
    group: 'Lens',
    help: 'diameter of the aperture seen from behind over that seen from in front',
    why: 'both are diameters above zero',
    defaultText: '1',
    only: 'stack',
  },
  {
    key: 'fNumber',
    flag: 'f-number',
    placeholder: 'N',
    kind: number(0.5, 256, 'fNumber'),
    group: 'Lens',
    help: 'f-number, such as 8',
    why: 'it is focal length over aperture, and no lens in air is faster than f/0.5',
  },
  {
    key: 'widestFNumber',
    flag: 'widest',
    placeholder: 'N',
    kind: number(0.5, 256, 'fNumber'),
    group: 'Lens',
    help: 'f-number of the lens wide open, such as 2.8: no wider one is recommended',
    why: 'it is focal length over aperture, and no lens in air is faster than f/0.5',
    only: 'stack',
  },
  {
    key: 'fNumberIs',
    flag: 'f-number-is',
    kind: { type: 'choice', values: ['marked', 'effective'] },
    group: 'Lens',
    help: 'marked is that of the scale, for infinity; effective is what some cameras show when focused close',
    defaultText: 'marked',
    only: 'stack',
  },
  {
    key: 'numericalAperture',
    flag: 'na',
    placeholder: 'NA',
    kind: number(0.001, 0.99),
    group: 'Lens',
    help: 'numerical aperture of a microscope objective, instead of an f-number',
    why: 'in air it is the sine of an angle, below 1; objectives in oil or water are not planned for',
    only: 'stack',
  },
  {
    key: 'fieldWidthMm',
    flag: 'field-width',
    placeholder: 'MM',
    unit: 'mm',
    kind: number(0.001, 10_000),
    group: 'Measured instead',
    help: 'how much of a ruler the width of the picture shows; the surest way to the magnification',
    why: 'it is a length on the subject',
    only: 'stack',
  },
  {
    key: 'magnification',
    flag: 'magnification',
    placeholder: 'M',
    kind: number(0.001, 1000, 'ratio'),
    group: 'Measured instead',
    help: 'size on the sensor over size of the subject with everything mounted, such as 2.5',
    why: 'it is a ratio of two lengths',
    only: 'stack',
  },
  {
    key: 'sensor',
    flag: 'sensor',
    placeholder: 'NAME|WxH',
    kind: { type: 'sensor' },
    group: 'Sensor',
    help: `width x height in mm, or a format: ${sensorFormats.map((entry) => entry.name).join(', ')}`,
  },
  {
    key: 'pixels',
    flag: 'pixels',
    placeholder: 'WxH|MP',
    kind: { type: 'pixels' },
    group: 'Sensor',
    help: 'pixels across and down, such as 6000x4000, or megapixels, such as 24MP',
  },
  {
    key: 'pixelPitchUm',
    flag: 'pixel-pitch',
    placeholder: 'UM',
    unit: 'µm',
    kind: number(0.1, 100),
    group: 'Sensor',
    help: 'distance between pixels on the sensor, instead of a number of pixels',
    why: 'it is a length',
  },
  {
    key: 'circle',
    flag: 'circle-of-confusion',
    placeholder: 'MM|pixel|format|NAME',
    kind: { type: 'circle' },
    group: 'Sensor',
    help: 'largest blur on the sensor that counts as sharp: in mm, pixel for two pixels, format for the convention of the sensor, or of a format by its name',
    defaultText: 'pixel',
  },
  {
    key: 'wavelengthNm',
    flag: 'wavelength',
    placeholder: 'NM',
    unit: 'nm',
    kind: number(100, 3000),
    group: 'Sensor',
    help: 'wavelength of the light',
    why: 'it is that of light a sensor can see',
    defaultText: '550',
  },
  {
    key: 'depthMm',
    flag: 'depth',
    placeholder: 'MM',
    unit: 'mm',
    kind: number(0.0001, 10_000),
    group: 'Stack',
    help: 'depth of the subject that shall be sharp',
    why: 'it is a length along the line of sight',
    only: 'stack',
  },
  {
    key: 'overlapPercent',
    flag: 'overlap',
    placeholder: 'PERCENT',
    unit: 'percent',
    kind: number(0, 90),
    group: 'Stack',
    help: "share of a frame's depth of field that the next covers again",
    why: 'below 0 there are gaps, near 100 the stack has no end',
    defaultText: '30',
  },
  {
    key: 'stepMm',
    flag: 'step',
    placeholder: 'MM',
    unit: 'mm',
    kind: number(0.00001, 1000),
    group: 'Stack',
    help: 'travel from frame to frame that you want, instead of what the overlap gives',
    why: 'a stack moves from frame to frame',
    only: 'stack',
  },
  {
    key: 'travelPerTurnMm',
    flag: 'travel-per-turn',
    placeholder: 'MM',
    unit: 'mm',
    kind: number(0.001, 100),
    group: 'Rail',
    help: 'how far one turn of the knob moves the rail',
    why: 'a knob that moves nothing makes no stack',
    only: 'stack',
  },
  {
    key: 'marksPerTurn',
    flag: 'marks-per-turn',
    placeholder: 'N',
    kind: number(1, 10_000),
    group: 'Rail',
    help: 'marks around the knob',
    why: 'a knob has one mark at least',
    only: 'stack',
  },
  {
    key: 'settleS',
    flag: 'settle',
    placeholder: 'S',
    unit: 's',
    kind: number(0, 3600),
    group: 'Rail',
    help: 'seconds to turn the knob and wait until nothing shakes, for each frame',
    why: 'time does not run backwards',
  },
  {
    key: 'exposureS',
    flag: 'exposure',
    placeholder: 'S',
    unit: 's',
    kind: number(0.000001, 3600),
    group: 'Rail',
    help: 'exposure of each frame in seconds, such as 0.5 or 1/60',
    why: 'an exposure takes time',
  },
  {
    key: 'landscape',
    flag: 'landscape',
    kind: { type: 'switch' },
    group: 'Landscape',
    help: 'camera on a tripod, focused by the ring from near to far',
  },
  {
    key: 'nearM',
    flag: 'near',
    placeholder: 'M',
    unit: 'm',
    kind: number(0.001, 100_000),
    group: 'Landscape',
    help: 'distance of the nearest thing that shall be sharp',
    why: 'it is a distance in front of the lens',
    only: 'landscape',
  },
  {
    key: 'farM',
    flag: 'far',
    placeholder: 'M|infinity',
    unit: 'm',
    kind: { type: 'numberOrInfinity', min: 0.001, max: 1_000_000 },
    group: 'Landscape',
    help: 'distance of the farthest',
    why: 'it is a distance in front of the lens',
    defaultText: 'infinity',
    only: 'landscape',
  },
  {
    key: 'closestFocusM',
    flag: 'closest-focus',
    placeholder: 'M',
    unit: 'm',
    kind: number(0.001, 1000),
    group: 'Landscape',
    help: 'nearest distance on the scale of the lens',
    why: 'it is a distance in front of the lens',
    only: 'landscape',
  },
];

/** The values an option takes in words. */
export function describePlanRange(spec: PlanOptionSpec): string {
  const { kind } = spec;
  const unit = spec.unit ? ` ${spec.unit}` : '';
  switch (kind.type) {
    case 'number':
      return `a number from ${kind.min} to ${kind.max}${unit}`;
    case 'numberOrInfinity':
      return `infinity or a number from ${kind.min} to ${kind.max}${unit}`;
    case 'choice':
      return kind.values.join(' or ');
    case 'sensor':
      return `width x height in mm from ${minSideMm} to ${maxSideMm}, such as 23.5x15.6, or one of ${formatNames}`;
    case 'pixels':
      return `pixels across and down, such as 6000x4000, or megapixels, such as 24MP,`;
    case 'circle':
      return `a number from ${minCircleMm} to ${maxCircleMm} mm, pixel, format, or one of ${formatNames}`;
    case 'switch':
      return 'true or false';
  }
}

const formatNames = sensorFormats.map((entry) => entry.name).join(', ');

/** Whether a value is one that the option takes. */
export function isPlanValue(kind: PlanOptionKind, value: unknown): boolean {
  switch (kind.type) {
    case 'number':
      return isWithin(value, kind.min, kind.max);
    case 'numberOrInfinity':
      return value === 'infinity' || isWithin(value, kind.min, kind.max);
    case 'choice':
      return kind.values.some((allowed) => allowed === value);
    case 'sensor':
      return isFormatName(value) || isPair(value, 'widthMm', 'heightMm', minSideMm, maxSideMm);
    case 'pixels':
      return (
        isWithin(value, minPixels ** 2, maxPixels ** 2) ||
        (isPair(value, 'width', 'height', minPixels, maxPixels) &&
          Object.values(value as object).every(Number.isInteger))
      );
    case 'circle':
      return (
        value === 'pixel' ||
        value === 'format' ||
        isFormatName(value) ||
        isWithin(value, minCircleMm, maxCircleMm)
      );
    case 'switch':
      return typeof value === 'boolean';
  }
}

function isWithin(value: unknown, min: number, max: number): boolean {
  return typeof value === 'number' && value >= min && value <= max;
}

function isFormatName(value: unknown): boolean {
  return typeof value === 'string' && findSensorFormat(value) !== undefined;
}

function isPair(value: unknown, first: string, second: string, min: number, max: number): boolean {
  if (typeof value !== 'object' || value === null) return false;
  const fields = value as Record<string, unknown>;
  return isWithin(fields[first], min, max) && isWithin(fields[second], min, max);
}

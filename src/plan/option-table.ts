import type { OptionTable } from '../options/option.js';
import { choice, fNumber, number, orInfinity, ratio, toggle } from '../options/option-kinds.js';
import { blurCircle, formatNames, pixelCount, sensorSize } from './plan-kinds.js';
import type { PlanOptions } from './plan-options.js';

/** The only kind of plan that an option applies to. */
interface PlanOnly {
  only?: 'stack' | 'landscape';
}

/** Green light, to which eyes and sensors are most sensitive. */
export const defaultWavelengthNm = 550;
export const defaultOverlapPercent = 30;

/** Every option of a plan, in the order of the help. */
export const planOptionTable: OptionTable<PlanOptions, PlanOnly> = {
  focalLengthMm: {
    kind: number(1, 5000, 'mm'),
    group: 'Lens',
    help: 'focal length of the lens as it is focused',
    reason: 'a lens that forms a picture has a focal length above zero',
  },
  ownMagnification: {
    kind: orInfinity(ratio(0, 100)),
    group: 'Lens',
    help: 'magnification of the lens without tubes as it is focused, such as 1 or 1:2',
    reason: 'it is a size on the sensor over a size of the subject, 0 at infinity',
    default: 'infinity',
    only: 'stack',
  },
  extensionMm: {
    kind: number(0, 2000, 'mm'),
    group: 'Lens',
    help: 'tubes or bellows between lens and camera',
    reason: 'tubes can only move the lens away from the sensor',
    default: 0,
    only: 'stack',
  },
  pupilRatio: {
    kind: ratio(0.05, 20),
    valueName: 'P',
    group: 'Lens',
    help: 'diameter of the aperture seen from behind over that seen from in front',
    reason: 'both are diameters above zero',
    default: 1,
    only: 'stack',
  },
  fNumber: {
    kind: fNumber(0.5, 256),
    group: 'Lens',
    help: 'f-number, such as 8',
    reason: 'it is focal length over aperture, and no lens in air is faster than f/0.5',
  },
  widestFNumber: {
    kind: fNumber(0.5, 256),
    flag: 'widest',
    group: 'Lens',
    help: 'f-number of the lens wide open, such as 2.8: no wider one is recommended',
    reason: 'it is focal length over aperture, and no lens in air is faster than f/0.5',
    only: 'stack',
  },
  fNumberIs: {
    kind: choice('marked', 'effective'),
    group: 'Lens',
    help: 'marked is that of the scale, for infinity; effective is what some cameras show when focused close',
    default: 'marked',
    only: 'stack',
  },
  numericalAperture: {
    kind: number(0.001, 0.99),
    flag: 'na',
    valueName: 'NA',
    group: 'Lens',
    help: 'numerical aperture of a microscope objective, instead of an f-number',
    reason: 'in air it is the sine of an angle, below 1; objectives in oil or water are not planned for',
    only: 'stack',
  },
  fieldWidthMm: {
    kind: number(0.001, 10_000, 'mm'),
    group: 'Measured instead',
    help: 'how much of a ruler the width of the picture shows; the surest way to the magnification',
    reason: 'it is a length on the subject',
    only: 'stack',
  },
  magnification: {
    kind: ratio(0.001, 1000),
    group: 'Measured instead',
    help: 'size on the sensor over size of the subject with everything mounted, such as 2.5',
    reason: 'it is a ratio of two lengths',
    only: 'stack',
  },
  sensor: {
    kind: sensorSize,
    group: 'Sensor',
    help: `width x height in mm, or a format: ${formatNames}`,
  },
  pixels: {
    kind: pixelCount,
    group: 'Sensor',
    help: 'pixels across and down, such as 6000x4000, or megapixels, such as 24MP',
  },
  pixelPitchUm: {
    kind: number(0.1, 100, 'µm'),
    group: 'Sensor',
    help: 'distance between pixels on the sensor, instead of a number of pixels',
    reason: 'it is a length',
  },
  circle: {
    kind: blurCircle,
    flag: 'circle-of-confusion',
    group: 'Sensor',
    help: 'largest blur on the sensor that counts as sharp: in mm, pixel for two pixels, format for the convention of the sensor, or of a format by its name',
    default: 'pixel',
  },
  wavelengthNm: {
    kind: number(100, 3000, 'nm'),
    group: 'Sensor',
    help: 'wavelength of the light',
    reason: 'it is that of light a sensor can see',
    default: defaultWavelengthNm,
  },
  depthMm: {
    kind: number(0.0001, 10_000, 'mm'),
    group: 'Stack',
    help: 'depth of the subject that shall be sharp',
    reason: 'it is a length along the line of sight',
    only: 'stack',
  },
  overlapPercent: {
    kind: number(0, 90, 'percent'),
    group: 'Stack',
    help: "share of a frame's depth of field that the next covers again",
    reason: 'below 0 there are gaps, near 100 the stack has no end',
    default: defaultOverlapPercent,
  },
  stepMm: {
    kind: number(0.00001, 1000, 'mm'),
    group: 'Stack',
    help: 'travel from frame to frame that you want, instead of what the overlap gives',
    reason: 'a stack moves from frame to frame',
    only: 'stack',
  },
  travelPerTurnMm: {
    kind: number(0.001, 100, 'mm'),
    group: 'Rail',
    help: 'how far one turn of the knob moves the rail',
    reason: 'a knob that moves nothing makes no stack',
    only: 'stack',
  },
  marksPerTurn: {
    kind: number(1, 10_000),
    group: 'Rail',
    help: 'marks around the knob',
    reason: 'a knob has one mark at least',
    only: 'stack',
  },
  settleS: {
    kind: number(0, 3600, 's'),
    group: 'Rail',
    help: 'seconds to turn the knob and wait until nothing shakes, for each frame',
    reason: 'time does not run backwards',
  },
  exposureS: {
    kind: number(0.000001, 3600, 's'),
    group: 'Rail',
    help: 'exposure of each frame in seconds, such as 0.5 or 1/60',
    reason: 'an exposure takes time',
  },
  landscape: {
    kind: toggle,
    group: 'Landscape',
    help: 'camera on a tripod, focused by the ring from near to far',
  },
  nearM: {
    kind: number(0.001, 100_000, 'm'),
    group: 'Landscape',
    help: 'distance of the nearest thing that shall be sharp',
    reason: 'it is a distance in front of the lens',
    only: 'landscape',
  },
  farM: {
    kind: orInfinity(number(0.001, 1_000_000, 'm')),
    group: 'Landscape',
    help: 'distance of the farthest',
    reason: 'it is a distance in front of the lens',
    default: 'infinity',
    only: 'landscape',
  },
  closestFocusM: {
    kind: number(0.001, 1000, 'm'),
    group: 'Landscape',
    help: 'nearest distance on the scale of the lens',
    reason: 'it is a distance in front of the lens',
    only: 'landscape',
  },
};

import type { ColourSpace } from './colour-space.js';
import { outputColours, toneCurve } from './colour-space.js';
import type { LibRawMetadata, LibRawSettings } from './libraw.js';
import type { RawLevels } from './raw-jobs.js';

/** Where the white balance comes from: the anchor, daylight of 6500 K, or multipliers of red, green and blue. */
export type WhiteBalance = 'camera' | 'daylight' | [number, number, number];

/** What is asked of the development of raw files. */
export interface DevelopmentOptions {
  whiteBalance: WhiteBalance;
  /** Light is multiplied by 2 to the power of this. */
  exposureStops: number;
  colourSpace: ColourSpace;
}

/** What is done where nothing else is asked for. */
export const plainDevelopment: DevelopmentOptions = {
  whiteBalance: 'camera',
  exposureStops: 0,
  colourSpace: 'srgb',
};

/** How every raw file of a stack is developed; plain data, so that a result can keep it and a later program repeat it. */
export interface Development {
  /** Multipliers of red, green, blue and the second green of the mosaic. */
  multipliers: number[];
  exposureStops: number;
  colourSpace: ColourSpace;
  /** Black level of the four positions of the mosaic; absent: as each file says. */
  black?: number[] | undefined;
  /** White level, counted from black; absent: as each file says. */
  white?: number | undefined;
}

/** Multipliers that a file gives for daylight, and for the light that its camera assumed. */
export interface FileWhite {
  daylight: number[];
  /** Undefined where the file does not say. */
  camera: number[] | undefined;
}

export function whiteOf({ color_data: { pre_mul, cam_mul } }: LibRawMetadata): FileWhite {
  return { daylight: multipliersOf(pre_mul) ?? [1, 1, 1, 1], camera: multipliersOf(cam_mul) };
}

/** Of three or four multipliers, relative to green; undefined unless all are there. */
function multipliersOf([red, green, blue, second]: readonly (number | null)[]): number[] | undefined {
  if (!red || !green || !blue || !(red > 0 && green > 0 && blue > 0)) return undefined;
  return [red / green, 1, blue / green, second && second > 0 ? second / green : 1];
}

/** The development of a stack whose anchor gives `white` and `levels`. */
export function developmentOf(
  { whiteBalance, exposureStops, colourSpace }: DevelopmentOptions,
  white: FileWhite,
  levels: RawLevels | undefined,
): Development {
  const multipliers =
    typeof whiteBalance !== 'string'
      ? [...whiteBalance, whiteBalance[1]]
      : whiteBalance === 'daylight'
        ? white.daylight
        : (white.camera ?? white.daylight);
  return { multipliers, exposureStops, colourSpace, ...levels };
}

/** LibRaw's settings for a development: nothing in them depends on the pixels of a file. */
export function settingsFor(development: Development, halfSize: boolean): LibRawSettings {
  const { multipliers, exposureStops, colourSpace, black, white } = development;
  return {
    outputBps: 16,
    noAutoBright: true,
    adjustMaximumThr: 0,
    highlight: 0,
    userMul: multipliers,
    outputColor: outputColours[colourSpace],
    gamm: [...toneCurve, 0, 0, 0, 0],
    bright: 2 ** exposureStops,
    userQual: 3,
    halfSize,
    ...(black && { userBlack: 0, userCblack: black }),
    ...(white !== undefined && { userSat: white }),
  };
}

/** Colour spaces in which raw files are developed. All have the tone curve of sRGB, and white is D65. */
export type ColourSpace = 'srgb' | 'display-p3' | 'rec2020';

export const colourSpaces = ['srgb', 'display-p3', 'rec2020'] as const satisfies readonly ColourSpace[];

/** LibRaw's numbers of the spaces. */
export const outputColours = { srgb: 1, 'display-p3': 7, rec2020: 8 } as const;

/** 1 / power and the slope of the straight part near black (IEC 61966-2-1). */
export const toneCurve = [1 / 2.4, 12.92] as const;

/** Names of the spaces, as a profile gives them. */
export const spaceNames: Readonly<Record<ColourSpace, string>> = {
  srgb: 'sRGB',
  'display-p3': 'Display P3',
  rec2020: 'Rec. 2020 primaries with the tone curve of sRGB',
};

/**
 * Chromaticities x, y of red, green and blue: ITU-R BT.709-6 (as IEC 61966-2-1 has them), SMPTE EG 432-1 (as Display P3
 * has them), ITU-R BT.2020-2.
 */
export const primaries: Readonly<Record<ColourSpace, readonly (readonly [number, number])[]>> = {
  srgb: [
    [0.64, 0.33],
    [0.3, 0.6],
    [0.15, 0.06],
  ],
  'display-p3': [
    [0.68, 0.32],
    [0.265, 0.69],
    [0.15, 0.06],
  ],
  rec2020: [
    [0.708, 0.292],
    [0.17, 0.797],
    [0.131, 0.046],
  ],
};

/** Chromaticity of D65 (CIE 15, as the standards above round it). */
export const whitePoint = [0.3127, 0.329] as const;

/** Three rows of three, row by row. */
export type Matrix = readonly number[];

/** Linear sRGB to XYZ of D65 (IEC 61966-2-1, its published matrix). */
export const srgbToXyz: Matrix = [0.4124, 0.3576, 0.1805, 0.2126, 0.7152, 0.0722, 0.0193, 0.1192, 0.9505];

/** XYZ of D65 to linear Display P3 (SMPTE EG 432-1, as published with the space; four digits). */
export const xyzToP3: Matrix = [2.4935, -0.9314, -0.4027, -0.8295, 1.7627, 0.0236, 0.0358, -0.0762, 0.9569];

/** XYZ of D65 to linear Rec. 2020 (ITU-R BT.2020-2, inverse of its published matrix; four digits). */
export const xyzToRec2020: Matrix = [
  1.7167, -0.3557, -0.2534, -0.6667, 1.6165, 0.0158, 0.0176, -0.0428, 0.9421,
];

/** A made-up camera: XYZ of D65 to its own colours, as ColorMatrix1 of the DNG specification gives them. */
export const cameraMatrix: Matrix = [0.72, -0.19, -0.06, -0.41, 1.22, 0.21, -0.05, 0.16, 0.58];

export function times(matrix: Matrix, [x, y, z]: readonly number[]): [number, number, number] {
  const row = (i: number) => matrix[i] * x + matrix[i + 1] * y + matrix[i + 2] * z;
  return [row(0), row(3), row(6)];
}

/** The camera's own colour of linear sRGB, green of white being 1. */
export function cameraColour(rgb: readonly number[]): [number, number, number] {
  const white = times(cameraMatrix, times(srgbToXyz, [1, 1, 1]));
  const [r, g, b] = times(cameraMatrix, times(srgbToXyz, rgb));
  return [r / white[1], g / white[1], b / white[1]];
}

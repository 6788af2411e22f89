import { lightOfByte, srgbByte } from '../image/srgb.js';

export type AnaglyphKind = 'grey' | 'colour';

/** Linear light of red, green and blue (columns) for each channel of the picture (rows). */
type Matrix = readonly (readonly [number, number, number])[];

/** Luminance of sRGB (IEC 61966-2-1): the left eye's through the red glass, the right eye's through the cyan one. */
const luminance = [0.2126, 0.7152, 0.0722] as const;
const none = [0, 0, 0] as const;
const grey: { left: Matrix; right: Matrix } = {
  left: [luminance, none, none],
  right: [none, luminance, luminance],
};

/**
 * Colours as near as two glasses let through to those of the pair, so that neither eye sees what flickers against the other:
 * least squares over the spectra of screen and red-cyan glasses (E. Dubois, "A projection method to generate anaglyph
 * stereo images", ICASSP 2001; figures of his table for red-cyan, from memory).
 */
const colour: { left: Matrix; right: Matrix } = {
  left: [
    [0.4561, 0.500484, 0.176381],
    [-0.0400822, -0.0378246, -0.0157589],
    [-0.0152161, -0.0205971, -0.00546856],
  ],
  right: [
    [-0.0434706, -0.0879388, -0.00155529],
    [0.378476, 0.73364, -0.0184503],
    [-0.0721527, -0.112961, 1.2264],
  ],
};

/**
 * A picture for glasses that are red on the left and cyan on the right.
 *
 * @param left, right (rows, cols, 3), 8 bits.
 */
export function anaglyph(left: Uint8Array, right: Uint8Array, kind: AnaglyphKind): Uint8Array {
  const matrices = kind === 'grey' ? grey : colour;
  const out = new Uint8Array(left.length);
  for (let i = 0; i < out.length; i += 3) {
    for (let row = 0; row < 3; row++) {
      let sum = 0;
      for (let k = 0; k < 3; k++) {
        sum += matrices.left[row][k] * lightOfByte[left[i + k]];
        sum += matrices.right[row][k] * lightOfByte[right[i + k]];
      }
      out[i + row] = srgbByte(sum);
    }
  }
  return out;
}

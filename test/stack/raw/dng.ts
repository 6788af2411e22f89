import { type Field, writeDirectories } from './dng-directories.js';

/** Colours of the filter mosaic, read along the first row and then the second. */
export type BayerPattern = 'RGGB' | 'BGGR' | 'GRBG' | 'GBRG';

/** What a DNG of our own holds; see `buildDng`. */
export interface DngParts {
  /** Size of the whole sensor, borders included. */
  width: number;
  height: number;
  /** Samples of the sensor, (rows, cols), within `bits`. */
  mosaic: Uint16Array;
  pattern?: BayerPattern;
  /** Colours of a mosaic that repeats after 6 x 6 samples, row by row, instead of `pattern`. */
  wideMosaic?: string;
  /** A sensor without a mosaic: so many samples of 16 bits a pixel, (rows, cols, samples). */
  samplesPerPixel?: 1 | 3;
  bits?: 12 | 14 | 16;
  blackLevel?: number;
  whiteLevel?: number;
  /** ActiveArea: top, left, bottom, right. The pattern counts from its corner. */
  activeArea?: [number, number, number, number];
  /** DefaultCropOrigin and DefaultCropSize, from the corner of the active area: left, top, width, height. */
  defaultCrop?: [number, number, number, number];
  orientation?: number;
  /** ColorMatrix1: XYZ of D65 to the camera's own colours, row by row; null for none. */
  xyzToCamera?: readonly number[] | null;
  /** AsShotNeutral: the camera's own colour of something white. */
  neutral?: readonly [number, number, number];
  /** A JPEG that is kept as the preview. */
  preview?: { jpeg: Buffer; width: number; height: number };
  make?: string;
  model?: string;
  exif?: Field[];
}

/** A camera whose own colours are those of linear sRGB: IEC 61966-2-1, matrix of XYZ to RGB. */
export const srgbMatrix = [
  ...[3.2406255, -1.537208, -0.4986286],
  ...[-0.9689307, 1.8757561, 0.0415175],
  ...[0.0557101, -0.2040211, 1.0569959],
] as const;

const filterColours = { R: 0, G: 1, B: 2 } as const;

/**
 * A raw file by the DNG specification 1.4 on top of TIFF/EP: the preview (or a grey thumbnail) in the main directory,
 * the uncompressed mosaic in a sub-directory, as cameras write it.
 */
export function buildDng(parts: DngParts): Buffer {
  const { width, height, mosaic, pattern = 'RGGB', bits = 16, preview } = parts;
  const { blackLevel = 0, whiteLevel = 2 ** bits - 1, activeArea, defaultCrop, orientation = 1 } = parts;
  const { xyzToCamera = srgbMatrix, neutral = [1, 1, 1], make = 'Lamella', model = 'Test Camera' } = parts;
  const { wideMosaic, samplesPerPixel } = parts;
  const samples = samplesPerPixel ?? 1;
  const sensor = packSamples(mosaic, width * samples, height, bits);
  const colours = wideMosaic ?? pattern;
  const side = Math.sqrt(colours.length);
  const raw: Field[] = [
    { tag: 254, longs: [0] },
    { tag: 256, longs: [width] },
    { tag: 257, longs: [height] },
    { tag: 258, shorts: new Array<number>(samples).fill(bits) },
    { tag: 259, shorts: [1] },
    { tag: 262, shorts: [samplesPerPixel ? 34892 : 32803] },
    { tag: 273, block: sensor },
    { tag: 277, shorts: [samples] },
    { tag: 278, longs: [height] },
    { tag: 279, longs: [sensor.length] },
    { tag: 284, shorts: [1] },
    ...(samplesPerPixel
      ? []
      : [
          { tag: 33421, shorts: [side, side] },
          { tag: 33422, bytes: [...colours].map((colour) => filterColours[colour as 'R' | 'G' | 'B']) },
        ]),
    { tag: 50714, longs: new Array<number>(samples).fill(blackLevel) },
    { tag: 50717, longs: [whiteLevel] },
    ...(activeArea ? [{ tag: 50829, longs: activeArea }] : []),
    ...(defaultCrop
      ? [
          { tag: 50719, longs: defaultCrop.slice(0, 2) },
          { tag: 50720, longs: defaultCrop.slice(2) },
        ]
      : []),
  ];
  const picture = preview ?? { width: 16, height: 12, jpeg: undefined };
  const pixels = preview?.jpeg ?? Buffer.alloc(16 * 12 * 3, 128);
  const main: Field[] = [
    { tag: 254, longs: [1] },
    { tag: 256, longs: [picture.width] },
    { tag: 257, longs: [picture.height] },
    { tag: 258, shorts: [8, 8, 8] },
    { tag: 259, shorts: [preview ? 7 : 1] },
    { tag: 262, shorts: [preview ? 6 : 2] },
    { tag: 271, ascii: make },
    { tag: 272, ascii: model },
    { tag: 273, block: pixels },
    { tag: 274, shorts: [orientation] },
    { tag: 277, shorts: [3] },
    { tag: 278, longs: [picture.height] },
    { tag: 279, longs: [pixels.length] },
    { tag: 330, directory: raw },
    { tag: 50706, bytes: [1, 4, 0, 0] },
    { tag: 50707, bytes: [1, 1, 0, 0] },
    { tag: 50708, ascii: `${make} ${model}` },
    // A sensor of one colour has no matrix.
    ...(samplesPerPixel === 1 || xyzToCamera === null
      ? []
      : [
          { tag: 50721, signedRationals: xyzToCamera.map((value) => [Math.round(value * 1e6), 1e6]) },
          { tag: 50728, rationals: neutral.map((value) => [Math.round(value * 1e6), 1e6]) },
          { tag: 50778, shorts: [21] },
        ]),
    ...(parts.exif ? [{ tag: 34665, directory: parts.exif }] : []),
  ];
  return writeDirectories(main);
}

/** Samples as TIFF stores them: 16 bits little-endian; fewer bits packed, the highest first, each row from a whole byte. */
function packSamples(mosaic: Uint16Array, width: number, height: number, bits: number): Buffer {
  if (bits === 16) return Buffer.from(new Uint16Array(mosaic).buffer);
  const rowBytes = Math.ceil((width * bits) / 8);
  const packed = Buffer.alloc(rowBytes * height);
  for (let y = 0; y < height; y++) {
    let at = y * rowBytes;
    let held = 0;
    let heldBits = 0;
    for (let x = 0; x < width; x++) {
      held = (held << bits) | mosaic[y * width + x];
      heldBits += bits;
      while (heldBits >= 8) {
        heldBits -= 8;
        packed[at++] = held >> heldBits;
        held &= (1 << heldBits) - 1;
      }
    }
    if (heldBits > 0) packed[at] = held << (8 - heldBits);
  }
  return packed;
}

/** The mosaic that filters in `pattern` make of linear RGB (rows, cols, 3) from 0 to 1, as samples from black to white. */
export function mosaicOf(
  linear: ArrayLike<number>,
  width: number,
  height: number,
  pattern: BayerPattern = 'RGGB',
  black = 0,
  white = 65535,
): Uint16Array {
  const mosaic = new Uint16Array(width * height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const colour = filterColours[pattern[(y & 1) * 2 + (x & 1)] as 'R' | 'G' | 'B'];
      const light = linear[(y * width + x) * 3 + colour];
      mosaic[y * width + x] = Math.min(white, Math.max(0, Math.round(black + light * (white - black))));
    }
  }
  return mosaic;
}

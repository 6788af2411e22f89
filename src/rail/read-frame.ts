import type { Size } from '../image/image.js';
import { pieceKernels } from '../kernels/piece-kernels.js';
import { lumaOffset } from '../model/constants/rail.js';
import type { FrameShape } from '../register/frame-meter.js';
import type { ReducedFrame } from '../register/reduced-frame.js';
import type { DecodedFrame } from '../stack/decode.js';
import { cellSide, type DetailGrid, detailAt, gridBytes } from './detail-grid.js';
import {
  clippingBytes,
  type FrameMeasurements,
  fingerprintOf,
  measureClipping,
} from './frame-measurements.js';

/** What a reading takes of a frame beside its measurements. */
export interface WantedOfFrame {
  /** Pixels of the picture, per side, per pixel of its plane for the search for dust; absent where none is wanted. */
  planeShrink?: number | undefined;
  /** Whether its brightness is wanted in bytes. */
  brightness?: boolean | undefined;
  /** Spacing of the second differences of a second grid, whose cells are four times as wide; absent where none is wanted. */
  broadSpacingPx?: number;
}

/** One frame by itself, as readings take it. Pixels lie in the memory of `pieceKernels`, until that is used anew. */
export interface ReadFrame {
  measurements: FrameMeasurements;
  broadGrid: DetailGrid | undefined;
  /** (floor(rows / planeShrink), floor(cols / planeShrink)): ln (luma + `lumaOffset`), luma the mean of a block. */
  plane: Float32Array | undefined;
  /** (rows, cols): luma, rounded. */
  brightness: Uint8Array | undefined;
}

/** Rows of a strip, and pixels that are about as many: kernels are called by strips. */
const stripRows = 128;
const stripPixels = 2 ** 18;
/** Entries of the table of logarithms a level: the mean of 4 x 4 pixels of 8 bits, each in quarters, is one of them exactly. */
const entriesPerLevel = 64;
const logTable = Float32Array.from({ length: 255 * entriesPerLevel + 1 }, (_, i) =>
  Math.log(i / entriesPerLevel + lumaOffset),
);

/**
 * Reads a frame by itself: all that needs no other frame. Luma is its brightness as the file encodes it, 0 to 255: (R + 2 G + B) / 4,
 * an approximation.
 */
export function readFrame(number: number, decoded: DecodedFrame, wanted: WantedOfFrame): ReadFrame {
  const { pixels, width, height, channels, bits } = decoded;
  const { planeShrink, broadSpacingPx } = wanted;
  const count = width * height;
  const plane: Size = planeShrink ? reducedSize(decoded, planeShrink) : { width: 0, height: 0 };
  const planePixels = plane.width * plane.height;
  const cellPx = cellSide(count);
  const kernels = pieceKernels();
  const [source, luma, grid, clipping, table, light, bytes] = kernels.take(
    pixels.byteLength,
    4 * count,
    gridBytes(decoded, cellPx),
    clippingBytes,
    planeShrink ? logTable.byteLength : 0,
    4 * planePixels,
    wanted.brightness ? count : 0,
  );
  source.set(new Uint8Array(pixels.buffer, pixels.byteOffset, pixels.byteLength));
  const samples = source.byteOffset;
  for (let at = 0; at < count; at += stripPixels) {
    kernels.encodedLuma({
      samples: samples + at * channels * pixels.BYTES_PER_ELEMENT,
      bits,
      channels,
      count: Math.min(stripPixels, count - at),
      out: luma.byteOffset + 4 * at,
    });
  }
  const detail = detailAt(luma.byteOffset, decoded, grid, cellPx);
  const measurements = {
    number,
    detail,
    fingerprint: fingerprintOf(detail),
    ...measureClipping(samples, decoded, clipping),
  };
  if (planeShrink) {
    new Float32Array(table.buffer, table.byteOffset, logTable.length).set(logTable);
    for (let from = 0; from < plane.height; from += stripRows) {
      kernels.boxLogs({
        luma: luma.byteOffset,
        width,
        boxes: planeShrink,
        from,
        to: Math.min(plane.height, from + stripRows),
        entries: entriesPerLevel,
        table: table.byteOffset,
        out: light.byteOffset,
      });
    }
  }
  if (wanted.brightness) kernels.roundLuma({ luma: luma.byteOffset, count, out: bytes.byteOffset });
  return {
    measurements,
    broadGrid: broadSpacingPx
      ? detailAt(luma.byteOffset, decoded, grid, 4 * broadSpacingPx, broadSpacingPx)
      : undefined,
    plane: planeShrink ? new Float32Array(light.buffer, light.byteOffset, planePixels) : undefined,
    brightness: wanted.brightness ? bytes : undefined,
  };
}

/** Size and type of a reduced picture as motion is measured on it. */
export function motionShape({
  width,
  height,
  channels,
  bits,
  shrink,
}: Omit<DecodedFrame, 'pixels'>): FrameShape {
  return { width, height, channels, bits, factor: shrink };
}

/** A reduced picture as motion is measured on it. */
export function motionPicture(number: number, decoded: DecodedFrame): ReducedFrame {
  return { ...motionShape(decoded), number, pixels: decoded.pixels };
}

/** Size of pictures that are reduced by a factor. */
export function reducedSize({ width, height }: Size, shrink: number): Size {
  return { width: Math.floor(width / shrink), height: Math.floor(height / shrink) };
}

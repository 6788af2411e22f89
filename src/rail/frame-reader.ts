import type { Size } from '../image/image.js';
import { minMotionPixels } from '../model/constants/rail.js';
import type { FrameShape } from '../register/frame-meter.js';
import type { ReducedFrame } from '../register/reduced-frame.js';
import { averageBoxes } from '../stack/average-boxes.js';
import type { DecodedFrame } from '../stack/decode.js';
import { encodedLuma } from './detail-grid.js';
import { spotLight } from './find-dust.js';
import { type FrameMeasurements, measureFrame } from './frame-measurements.js';

/** What a reading takes of a frame beside its measurements. */
export interface WantedOfFrame {
  /** Pixels of the picture, per side, per pixel of its plane for the search for dust; absent where none is wanted. */
  planeShrink?: number | undefined;
  /** Whether its brightness is wanted in bytes. */
  brightness?: boolean | undefined;
}

/** One frame as the first reading takes it. */
export interface ReadFrame {
  measurements: FrameMeasurements;
  /** The plane for the search for dust, see `spotLight`. */
  plane: Float32Array | undefined;
  /** (rows, cols): brightness as `encodedLuma` has it, rounded. */
  brightness: Uint8Array | undefined;
  /** The picture that motion is measured on. */
  motion: ReducedFrame;
}

/** Reads frames by themselves, one after the other: what needs no other frame. */
export class FrameReader {
  /** Brightness of the frame read last, (rows, cols), 0 to 255. */
  readonly luma: Float32Array<ArrayBuffer>;

  /** @param size Of the reduced pictures. */
  constructor({ width, height }: Size) {
    this.luma = new Float32Array(width * height);
  }

  read(number: number, decoded: DecodedFrame, { planeShrink, brightness }: WantedOfFrame): ReadFrame {
    const luma = encodedLuma(decoded, this.luma);
    return {
      measurements: measureFrame(number, decoded, luma),
      plane: planeShrink === undefined ? undefined : spotLight(luma, decoded, planeShrink),
      brightness: brightness ? Uint8Array.from(luma, (value) => value + 0.5) : undefined,
      motion: { number, ...motionPicture(decoded) },
    };
  }
}

/** Size and type of the picture that motion is measured on: half the size where that leaves enough. */
export function motionShape({
  width,
  height,
  channels,
  bits,
  shrink,
}: Omit<DecodedFrame, 'pixels'>): FrameShape {
  const halve = (width * height) / 4 >= minMotionPixels;
  const factor = halve ? 2 * shrink : shrink;
  return {
    width: halve ? width >> 1 : width,
    height: halve ? height >> 1 : height,
    channels,
    bits,
    factorX: factor,
    factorY: factor,
  };
}

/** The picture that motion is measured on. */
export function motionPicture(decoded: DecodedFrame): FrameShape & Pick<ReducedFrame, 'pixels'> {
  const shape = motionShape(decoded);
  const { pixels, width, height, channels } = decoded;
  return {
    ...shape,
    pixels: shape.width < width ? averageBoxes(pixels, width, height, channels, 2) : pixels,
  };
}

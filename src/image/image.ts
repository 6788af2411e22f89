import type { NdArray } from 'ndarray';

/** Sample types of a decoded frame: 8-bit frames are bytes, 16-bit frames are unsigned shorts. */
export type PixelData = Uint8Array | Uint16Array;

/**
 * Pixels with what is needed to read them.
 * `pixels` has shape (rows, cols, channels), interleaved, full range of its bit depth.
 */
export interface Image {
  pixels: NdArray<PixelData>;
  bits: 8 | 16;
  channels: 1 | 3;
  /** Embedded ICC profile, byte for byte, or undefined when the file has none. */
  icc?: Buffer | undefined;
}

/** Width and height in pixels. */
export interface Size {
  width: number;
  height: number;
}

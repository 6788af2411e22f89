/** Sample types of a decoded frame: 8-bit frames are bytes, 16-bit frames are unsigned shorts. */
export type PixelData = Uint8Array | Uint16Array;

/** Width and height in pixels. */
export interface Size {
  width: number;
  height: number;
}

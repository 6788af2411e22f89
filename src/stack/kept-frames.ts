import { type DecodedFrame, decodeFrame } from './decode.js';
import type { FrameFile } from './frame.js';
import { isStored } from './stored-frame.js';
import { widenSamples } from './widen-samples.js';

/**
 * Decodes frames at full size and keeps as many of them as a bound allows, so that these are decoded once for all passes
 * over the stack; the rest is decoded each time. What it returns is the same either way.
 */
export class KeptFrames {
  private readonly kept = new Map<number, DecodedFrame>();
  private freeBytes: number;

  /** @param bytes That kept frames may take together. */
  constructor(bytes: number) {
    this.freeBytes = bytes;
  }

  /**
   * As `decodeFrame` of the frame with so many channels, but the pixels may be shared: they are not to be changed.
   *
   * @param isLast Nobody asks for this frame again: its memory is given back.
   */
  async decode(frame: FrameFile, channels: 1 | 3 = frame.channels, isLast = false): Promise<DecodedFrame> {
    const known = this.kept.get(frame.number);
    // Kept with its own channels: one of grey is three times as small.
    const decoded = known ?? (await decodeFrame(frame));
    const { byteLength } = decoded.pixels;
    if (known && isLast) {
      this.kept.delete(frame.number);
      this.freeBytes += byteLength;
    } else if (!isLast && !isStored(frame) && !this.kept.has(frame.number) && byteLength <= this.freeBytes) {
      this.kept.set(frame.number, decoded);
      this.freeBytes -= byteLength;
    }
    if (channels === decoded.channels) return decoded;
    return {
      ...decoded,
      pixels: widenSamples(decoded.pixels, decoded.channels, channels, decoded.bits),
      channels,
    };
  }
}

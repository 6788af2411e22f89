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
  private readonly underWay = new Map<number, Promise<DecodedFrame>>();
  /** Frames that are to be decoded before anybody asks, in this order. */
  private ahead: FrameFile[] = [];
  private runningAhead = 0;
  private freeBytes: number;

  /**
   * @param bytes That kept frames may take together.
   * @param atOnce Frames that are decoded ahead at once.
   */
  constructor(
    bytes: number,
    private readonly atOnce = 1,
  ) {
    this.freeBytes = bytes;
  }

  /**
   * As `decodeFrame` of the frame with so many channels, but the pixels may be shared: they are not to be changed.
   *
   * @param isLast Nobody asks for this frame again: its memory is given back.
   */
  async decode(frame: FrameFile, channels: 1 | 3 = frame.channels, isLast = false): Promise<DecodedFrame> {
    const { number } = frame;
    // Kept with its own channels: one of grey is three times as small.
    const decoded = this.kept.get(number) ?? (await (this.underWay.get(number) ?? this.start(frame)));
    const { byteLength } = decoded.pixels;
    const isKept = this.kept.has(number);
    if (isLast) this.ahead = this.ahead.filter((waiting) => waiting.number !== number);
    if (isKept && isLast) {
      this.kept.delete(number);
      this.freeBytes += byteLength;
      this.startAhead();
    } else if (!isLast && !isStored(frame) && !isKept && byteLength <= this.freeBytes) {
      this.kept.set(number, decoded);
      this.freeBytes -= byteLength;
    }
    if (channels === decoded.channels) return decoded;
    return {
      ...decoded,
      pixels: widenSamples(decoded.pixels, decoded.channels, channels, decoded.bits),
      channels,
    };
  }

  /**
   * Decodes frames before they are asked for, in order, as soon as there is room to keep them; in place of those that were
   * named before. Whoever asks for one that is being decoded waits for it.
   */
  decodeAhead(frames: readonly FrameFile[]): void {
    // Raw files have workers, and a memory, of their own.
    this.ahead = frames.filter(({ format }) => format !== 'raw');
    this.startAhead();
  }

  /** Gives all frames back, and decodes none ahead any more. */
  close(): void {
    this.ahead = [];
    this.freeBytes = Number.NEGATIVE_INFINITY;
    this.kept.clear();
  }

  private start(frame: FrameFile): Promise<DecodedFrame> {
    const { number } = frame;
    const decoding = decodeFrame(frame).finally(() => this.underWay.delete(number));
    this.underWay.set(number, decoding);
    return decoding;
  }

  private startAhead(): void {
    while (this.runningAhead < this.atOnce) {
      const frame = this.ahead[0];
      if (!frame) return;
      const { number, size, channels, bits } = frame;
      const bytes = (size.width * size.height * channels * bits) / 8;
      const isKnown = this.kept.has(number) || this.underWay.has(number);
      if (!isKnown && bytes > this.freeBytes) return;
      this.ahead.shift();
      if (isKnown) continue;
      this.freeBytes -= bytes;
      this.runningAhead++;
      void this.start(frame)
        .then(
          (decoded) => void (this.freeBytes >= 0 && this.kept.set(number, decoded)),
          // Told whoever asks for it.
          () => {
            this.freeBytes += bytes;
          },
        )
        .finally(() => {
          this.runningAhead--;
          this.startAhead();
        });
    }
  }
}

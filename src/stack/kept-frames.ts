import { type DecodedFrame, decodeFrame } from './decode.js';
import type { FrameFile } from './frame.js';
import { isStored } from './stored-frame.js';
import { widenSamples } from './widen-samples.js';

/** Frames that whoever reads a stack asks for at once: the one in work, and the next. */
const askedAtOnce = 2;

/** Who decodes frames in the place of this thread. */
export interface FrameSource {
  /** As `decodeFrame`. */
  decode(frame: FrameFile): Promise<DecodedFrame>;
  /** See `KeptFrames.decodeAhead`. */
  decodeAhead(frames: readonly FrameFile[]): void;
}

/**
 * Decodes frames at full size and keeps as many of them as a bound allows, so that these are decoded once for all passes
 * over the stack; the rest is decoded each time. What it returns is the same either way.
 */
export class KeptFrames {
  private readonly kept = new Map<number, DecodedFrame>();
  private readonly underWay = new Map<number, Promise<DecodedFrame>>();
  /** Numbers of the kept frames that were asked for, and stay for the next pass; the others were decoded ahead. */
  private readonly staying = new Set<number>();
  private stayingBytes = 0;
  /** Frames that are to be decoded before anybody asks, in this order. */
  private ahead: FrameFile[] = [];
  private runningAhead = 0;
  /** Of kept frames, and of those that are being decoded ahead. */
  private heldBytes = 0;
  /** Decodes in the place of this thread. */
  private source: FrameSource | undefined;
  /** Whether it is still open who decodes ahead, and the frames that wait for whoever it will be. */
  private isSourceToCome = false;
  private forSource: readonly FrameFile[] | undefined;
  /** Called where frames are to be decoded ahead. */
  onAhead: (() => void) | undefined;
  /** Told of every frame that is decoded; its pixels are not to be changed. */
  onDecoded: ((frame: FrameFile, decoded: DecodedFrame) => void) | undefined;
  /** Where not all frames fit: what is left for those ahead, so that decoding has work for all its threads. */
  private aheadBytes = 0;

  /**
   * @param bytes That kept frames may take together.
   * @param atOnce Frames that are decoded ahead at once.
   */
  constructor(
    private bytes: number,
    private readonly atOnce = 1,
  ) {}

  /**
   * As `decodeFrame` of the frame with so many channels, but the pixels may be shared: they are not to be changed.
   *
   * @param isLast Nobody asks for this frame again: its memory is given back.
   */
  async decode(frame: FrameFile, channels: 1 | 3 = frame.channels, isLast = false): Promise<DecodedFrame> {
    const { number } = frame;
    this.ahead = this.ahead.filter((waiting) => waiting.number !== number);
    // Kept with its own channels: one of grey is three times as small.
    const decoded = this.kept.get(number) ?? (await (this.underWay.get(number) ?? this.start(frame)));
    if (isLast || isStored(frame)) this.drop(number);
    else if (!this.staying.has(number)) this.keep(number, decoded);
    this.startAhead();
    if (channels === decoded.channels) return decoded;
    return {
      ...decoded,
      pixels: widenSamples(decoded.pixels, decoded.channels, channels, decoded.bits),
      channels,
    };
  }

  /**
   * Decodes frames before they are asked for in a pass, in its order, as soon as there is room for them; in place of those
   * that were named before. Whoever asks for one that is being decoded waits for it.
   */
  decodeAhead(frames: readonly FrameFile[]): void {
    if (this.isSourceToCome) {
      this.forSource = frames;
      return;
    }
    this.onAhead?.();
    if (this.source) {
      this.source.decodeAhead(frames);
      return;
    }
    // Raw files have workers, and a memory, of their own.
    this.ahead = frames.filter(({ format }) => format !== 'raw');
    const sizes = this.ahead.map(decodedBytes);
    const fits = sizes.reduce((sum, bytes) => sum + bytes, 0) <= this.bytes;
    this.aheadBytes = fits ? 0 : Math.max(0, this.atOnce - askedAtOnce) * Math.max(...sizes);
    this.startAhead();
  }

  /** Holds back what is to be decoded ahead until `useSource`: frames that are decoded here meanwhile would be decoded there again. */
  awaitSource(): void {
    this.isSourceToCome = true;
  }

  /** Has frames decoded in the place of this thread, from now on; undefined: in this thread. */
  useSource(source: FrameSource | undefined): void {
    this.source = source;
    this.isSourceToCome = false;
    if (this.forSource) this.decodeAhead(this.forSource);
    this.forSource = undefined;
  }

  /** Gives a frame back that nobody asks for again. */
  release({ number }: FrameFile): void {
    this.ahead = this.ahead.filter((waiting) => waiting.number !== number);
    this.drop(number);
    this.startAhead();
  }

  /** Gives all frames back, and decodes none ahead any more. */
  close(): void {
    this.ahead = [];
    this.bytes = Number.NEGATIVE_INFINITY;
    this.kept.clear();
  }

  /** Keeps a frame that was asked for, where that leaves room for those ahead. */
  private keep(number: number, decoded: DecodedFrame): void {
    const { byteLength } = decoded.pixels;
    if (this.stayingBytes + byteLength > this.bytes - this.aheadBytes) {
      this.drop(number);
      return;
    }
    if (!this.kept.has(number)) {
      if (this.heldBytes + byteLength > this.bytes) return;
      this.kept.set(number, decoded);
      this.heldBytes += byteLength;
    }
    this.staying.add(number);
    this.stayingBytes += byteLength;
  }

  private drop(number: number): void {
    const bytes = this.kept.get(number)?.pixels.byteLength ?? 0;
    this.kept.delete(number);
    this.heldBytes -= bytes;
    if (this.staying.delete(number)) this.stayingBytes -= bytes;
  }

  private start(frame: FrameFile): Promise<DecodedFrame> {
    const { number } = frame;
    // Where it cannot, this thread tries itself, and tells what is wrong.
    const decoded = this.source?.decode(frame).catch(() => decodeFrame(frame)) ?? decodeFrame(frame);
    const decoding = decoded.finally(() => this.underWay.delete(number));
    this.underWay.set(number, decoding);
    decoding.then(
      (decoded) => this.onDecoded?.(frame, decoded),
      // Told whoever asks for it.
      () => {},
    );
    return decoding;
  }

  private startAhead(): void {
    while (this.runningAhead < this.atOnce) {
      const frame = this.ahead[0];
      if (!frame) return;
      const { number } = frame;
      const bytes = decodedBytes(frame);
      const isKnown = this.kept.has(number) || this.underWay.has(number);
      if (!isKnown && this.heldBytes + bytes > this.bytes) return;
      this.ahead.shift();
      if (isKnown) continue;
      this.heldBytes += bytes;
      this.runningAhead++;
      void this.start(frame)
        .then(
          (decoded) => void (this.bytes >= 0 && this.kept.set(number, decoded)),
          // Told whoever asks for it.
          () => {
            this.heldBytes -= bytes;
          },
        )
        .finally(() => {
          this.runningAhead--;
          this.startAhead();
        });
    }
  }
}

function decodedBytes({ size, channels, bits }: FrameFile): number {
  return (size.width * size.height * channels * bits) / 8;
}

import type { PixelData, Size } from '../image/image.js';
import type { Gpu } from './device.js';
import { mapMode } from './flags.js';
import type { GpuPlanes } from './planes.js';

/** Frames on their way to the device: while one is copied there, the next are written by the processor. */
const ringLength = 3;

interface Staging {
  buffer: GPUBuffer;
  /** Settles once the processor may write. */
  mapped: Promise<unknown>;
  pixels?: PixelData;
}

/** Brings frames over as bytes: through memory that both sides see, into one frame on the device. */
export class FrameRing {
  readonly frame: GpuPlanes;
  private readonly ring: Staging[];

  constructor(
    private readonly gpu: Gpu,
    { width, height }: Size,
    private readonly bits: 8 | 16,
  ) {
    this.frame = gpu.takeFrame(width, height, bits);
    this.ring = Array.from({ length: ringLength }, () => ({
      buffer: gpu.takeStaging(this.frame.bytes),
      mapped: Promise.resolve(),
    }));
  }

  /** Memory for the pixels of a frame, (rows, cols, 3). Throws GpuError. */
  async slotFor(ordinal: number): Promise<PixelData> {
    const place = this.ring[ordinal % ringLength];
    try {
      await place.mapped;
    } catch (error) {
      await this.gpu.check();
      throw error;
    }
    const { height, rowBytes } = this.frame;
    const bytes = place.buffer.getMappedRange();
    const samples = (height * rowBytes * 8) / this.bits;
    place.pixels = this.bits === 8 ? new Uint8Array(bytes, 0, samples) : new Uint16Array(bytes, 0, samples);
    return place.pixels;
  }

  /** Copies what was written for a frame to the device, after all that is noted. */
  send(ordinal: number): GpuPlanes {
    const place = this.ring[ordinal % ringLength];
    place.buffer.unmap();
    this.gpu.copy(place.buffer, 0, this.frame.buffer, 0, this.frame.bytes);
    return this.frame;
  }

  /** To be called once the work on a frame is handed over: its memory will serve another. */
  free(ordinal: number): void {
    const place = this.ring[ordinal % ringLength];
    place.mapped = place.buffer.mapAsync(mapMode.write);
    // Told where it is awaited.
    place.mapped.catch(() => {});
  }

  release(): void {
    this.gpu.release(this.frame, ...this.ring.map(({ buffer }) => buffer));
  }
}

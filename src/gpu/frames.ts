import { setImmediate } from 'node:timers/promises';
import type { PixelData, Size } from '../image/image.js';
import type { Gpu } from './device.js';
import type { GpuPlanes } from './planes.js';

/** Frames on their way to the device: while one is copied there, the next are written by the processor. */
const ringLength = 3;

/** Buffers of what is kept for the merge: all devices make larger ones. */
const reserveBytes = 128 << 20;

/** Memory that both sides see. */
interface Staging {
  buffer: GPUBuffer;
  /** Settles once the processor may write. */
  mapped: Promise<unknown>;
}

/** A frame on its way. */
interface Passing {
  staging: Staging;
  /** Where it goes. */
  frame: GpuPlanes;
}

/**
 * The frames of a stack on the device. They go over as bytes, through memory that both sides see, and stay there as far as
 * there is room, so that a frame goes over once; in advance, too, while its motion is still being measured.
 */
export class GpuFrames {
  /** Frames that stay on the device, by number. */
  private readonly held = new Map<number, GpuPlanes>();
  /** Room for further frames that will stay. */
  private readonly rooms: GpuPlanes[] = [];
  /** Those that are being filled, by number. */
  private readonly filling = new Map<number, Passing>();
  /** Takes the frames for which there is no room, one after the other. */
  private passing: GpuPlanes | undefined;
  private readonly ring: Staging[];
  private next = 0;
  /** Memory that the merge will need, which frames that are sent in advance leave to it. */
  private reserve: GPUBuffer[] | undefined;
  private ahead: Promise<void> = Promise.resolve();
  private isAhead = true;

  /**
   * @param room Bytes of frames that may stay on the device.
   * @param needed Bytes of the device's memory that a merge of such frames needs beside them, which they leave to it.
   */
  constructor(
    private readonly gpu: Gpu,
    private readonly size: Size,
    private readonly bits: 8 | 16,
    private room = 0,
    private readonly needed = 0,
  ) {
    const bytes = Math.ceil((size.width * size.height * 3 * bits) / 8 / 4) * 4;
    this.ring = Array.from({ length: ringLength }, () => ({
      buffer: gpu.takeStaging(bytes),
      mapped: Promise.resolve(),
    }));
  }

  /** Whether a frame is on the device. */
  has(number: number): boolean {
    return this.held.has(number);
  }

  /**
   * Sends a frame in advance, where there is room for it.
   *
   * @param decoded (rows, cols, channels); frames of one channel go over later.
   */
  sendAhead(number: number, { pixels, channels }: { pixels: PixelData; channels: 1 | 3 }): void {
    if (channels !== 3) return;
    this.ahead = this.ahead.then(async () => {
      if (!this.isAhead || this.held.has(number) || !(await this.hasReserve())) return;
      const frame = await this.takeRoom();
      if (!frame) return;
      const slot = await this.fill(number, frame);
      slot.set(pixels);
      this.send(number);
      this.gpu.submit();
      this.free(number);
      this.held.set(number, frame);
      // Whoever else has work for this thread gets at it between two frames.
      await setImmediate();
    });
    // A device that fails tells whoever works on it next.
    this.ahead.catch(() => {});
  }

  /**
   * Sends no more in advance, takes room for frames that are still to come, and gives up what was kept for the merge, which
   * begins. Throws GpuError.
   */
  async endAhead(numbers: readonly number[]): Promise<void> {
    this.isAhead = false;
    await this.ahead;
    let missing = numbers.filter((number) => !this.held.has(number)).length;
    while (missing-- > 0 && (await this.hasReserve())) {
      const frame = await this.takeRoom();
      if (!frame) break;
      this.rooms.push(frame);
    }
    this.gpu.release(...(this.reserve ?? []));
    this.reserve = [];
  }

  /** Memory for the pixels of a frame, (rows, cols, 3), which replace those that are on the device. Throws GpuError. */
  async slotFor(number: number): Promise<PixelData> {
    let frame = this.held.get(number) ?? this.rooms.pop();
    if (frame) this.held.set(number, frame);
    else {
      const { width, height } = this.size;
      this.passing ??= this.gpu.takeFrame(width, height, this.bits);
      frame = this.passing;
    }
    return this.fill(number, frame);
  }

  /** A frame as it is on the device, after all that is noted: what was written for it is copied there before. */
  send(number: number): GpuPlanes {
    const filled = this.filling.get(number);
    if (!filled) return this.held.get(number)!;
    const { staging, frame } = filled;
    staging.buffer.unmap();
    this.gpu.copy(staging.buffer, 0, frame.buffer, 0, frame.bytes);
    return frame;
  }

  /** To be called once the work on a frame is handed over: the memory that it was written to will serve another. */
  free(number: number): void {
    const filled = this.filling.get(number);
    if (!filled) return;
    this.filling.delete(number);
    const { staging } = filled;
    staging.mapped = this.gpu.mapStaging(staging.buffer);
    // Told where it is awaited.
    staging.mapped.catch(() => {});
  }

  private async fill(number: number, frame: GpuPlanes): Promise<PixelData> {
    const staging = this.ring[this.next];
    this.next = (this.next + 1) % ringLength;
    try {
      await staging.mapped;
    } catch (error) {
      await this.gpu.check();
      throw error;
    }
    this.filling.set(number, { staging, frame });
    const bytes = staging.buffer.getMappedRange();
    const samples = (frame.height * frame.rowBytes * 8) / this.bits;
    return this.bits === 8 ? new Uint8Array(bytes, 0, samples) : new Uint16Array(bytes, 0, samples);
  }

  /** Room for a frame that stays; undefined where there is none. */
  private async takeRoom(): Promise<GpuPlanes | undefined> {
    const { width, height } = this.size;
    const frame = this.room > 0 ? await this.gpu.tryFrame(width, height, this.bits, this.room) : undefined;
    this.room = frame ? this.room - frame.bytes : 0;
    return frame;
  }

  /** Whether the device has what the merge needs, which is kept for it then. */
  private async hasReserve(): Promise<boolean> {
    const parts = Math.ceil(this.needed / reserveBytes);
    if (!this.reserve) {
      const bytes = Math.ceil(this.needed / parts / 4) * 4;
      const taken = await Promise.all(Array.from({ length: parts }, () => this.gpu.tryTake(bytes)));
      this.reserve = taken.filter((part) => part !== undefined);
    }
    return parts > 0 && this.reserve.length === parts;
  }
}

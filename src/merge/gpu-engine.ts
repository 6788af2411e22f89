import type { FocusCurves } from '../focus/focus-curves.js';
import { GpuPyramidBlender } from '../gpu/blend.js';
import type { Gpu } from '../gpu/device.js';
import { GpuFocus, type GpuFrame } from '../gpu/focus.js';
import type { GpuFrames } from '../gpu/frames.js';
import { type GpuSourcePlan, planGpuSources } from '../gpu/plan.js';
import type { GpuPlanes } from '../gpu/planes.js';
import { findGpuSpill } from '../gpu/spill.js';
import { findGpuSurface, type GpuSurface, readGpuSurface } from '../gpu/surface.js';
import type { SurfaceMaps } from '../surface/surface.js';
import { focusLevels } from './arena-need.js';
import type { EngineFrame, EngineTask, FrameRows, MergeEngine } from './engine.js';

/** Memory for what comes back from the device. Its pages are there by the time that it does, where that takes another thread. */
export interface ResultMemory {
  maps: Pick<SurfaceMaps, 'depthIndices' | 'confidence' | 'coverage'>;
  sources: Uint16Array;
  picture: Uint8Array | Uint16Array;
}

export function takeResult({ size, compositeBits, take }: EngineTask): ResultMemory {
  const pixels = size.width * size.height;
  const takeWords = (count: number) => new Uint16Array(take(2 * count).buffer, 0, count);
  return {
    maps: { depthIndices: takeWords(pixels), confidence: take(pixels), coverage: take(pixels) },
    sources: takeWords(pixels),
    picture: compositeBits === 8 ? take(3 * pixels) : takeWords(3 * pixels),
  };
}

/**
 * The stations on a graphics processor. Frames go over as bytes, maps and picture come back; all else stays there. Any call
 * throws GpuError where the device goes away or its memory is too small.
 */
export class GpuEngine implements MergeEngine {
  readonly slots = 2;
  private readonly focus: GpuFocus;
  private asked: FocusCurves | undefined;
  private surface: GpuSurface | undefined;
  private sourcePlan: GpuSourcePlan | undefined;
  private spill: GpuPlanes | undefined;
  private blender: GpuPyramidBlender | undefined;

  private constructor(
    private readonly gpu: Gpu,
    private readonly frames: GpuFrames,
    private readonly task: Omit<EngineTask, 'take'>,
    private readonly memory: ResultMemory,
  ) {
    const { size, frame, toFrame, rule, dust, curve, surfaceLevel } = task;
    // `select` and `weigh` show frames as they are.
    const light = rule === 'auto' ? curve : undefined;
    this.focus = new GpuFocus(gpu, size, frame, focusLevels, toFrame.length, dust, light, surfaceLevel);
  }

  /**
   * The device is closed with the engine.
   *
   * @param sent Frames that are there, and room for others.
   * @param memory What comes back is put there.
   */
  static async start(
    gpu: Gpu,
    task: Omit<EngineTask, 'take'>,
    sent: GpuFrames,
    memory: ResultMemory,
  ): Promise<GpuEngine> {
    try {
      await gpu.compileAll();
      await sent.endAhead(task.numbers);
      const engine = new GpuEngine(gpu, sent, task, memory);
      await gpu.check();
      return engine;
    } catch (error) {
      void gpu.close();
      throw error;
    }
  }

  has(ordinal: number): boolean {
    return this.frames.has(this.numberOf(ordinal));
  }

  async slotFor(ordinal: number): Promise<FrameRows[]> {
    const pixels = await this.frames.slotFor(this.numberOf(ordinal));
    return [{ from: 0, to: this.task.frame.height, pixels }];
  }

  follow(frame: EngineFrame): Promise<void> {
    return this.workOn(frame, (sent) => this.focus.add(sent));
  }

  async curves(): Promise<FocusCurves> {
    this.asked = await this.focus.curves();
    this.focus.releaseWork();
    return this.asked;
  }

  async findSurface(nearSign: -1 | 0 | 1, blurPx: number | undefined): Promise<number> {
    const { gpu, focus, asked, bounds, task } = this;
    const { steps, unit } = task;
    const { state, picks } = focus;
    this.surface = await findGpuSurface(gpu, state, asked!, bounds, nearSign, steps, blurPx, unit, picks);
    this.asked = undefined;
    return this.surface.detailShare;
  }

  async plan(nearSign: -1 | 0 | 1, blurPx: number | undefined): Promise<void> {
    const { toFrame, frame, rule } = this.task;
    this.sourcePlan = planGpuSources(this.gpu, this.surface!, toFrame, frame, rule, nearSign, blurPx);
    await this.gpu.check();
  }

  async findSpill(nearSign: -1 | 1, blurPx: number): Promise<number> {
    const { gpu, focus, surface } = this;
    if (!focus.lights) return 0;
    const found = await findGpuSpill(
      gpu,
      surface!.surface,
      focus.lights,
      blurPx,
      nearSign,
      surface!.fractionBits,
    );
    this.spill = found.spill;
    return found.share;
  }

  async readMaps(): Promise<{ maps: SurfaceMaps; sources: Uint16Array }> {
    const { gpu, surface, bounds, sourcePlan, memory } = this;
    const { sources } = memory;
    const maps = await readGpuSurface(gpu, surface!, bounds, memory.maps);
    const from = sourcePlan!.sources;
    await gpu.readPlane(from, 0, new Uint8Array(sources.buffer), from.width * 2);
    gpu.release(from);
    return { maps, sources };
  }

  async startBlend(lost: number): Promise<void> {
    const { gpu, task, sourcePlan, surface, focus, spill } = this;
    // The focus state has served: the blend takes its place.
    gpu.release(...new Set([surface!.surface, surface!.found]));
    focus.release();
    this.surface = undefined;
    this.blender = new GpuPyramidBlender(gpu, task.frame, sourcePlan!, task.curve, spill, lost);
    await gpu.check();
  }

  blend(frame: EngineFrame): Promise<void> {
    return this.workOn(frame, (sent) => this.blender!.add(sent));
  }

  finish(bits: 8 | 16): Promise<Uint8Array | Uint16Array> {
    return this.blender!.finish(bits, this.memory.picture);
  }

  close(): Promise<void> {
    return this.gpu.close();
  }

  private get bounds() {
    return { toFrame: this.task.toFrame, frame: this.task.frame };
  }

  private numberOf(ordinal: number): number {
    return this.task.numbers[ordinal - 1];
  }

  /** Sends a frame over where it is not there, and hands the work on it over; does not wait until that is done. */
  private async workOn(frame: EngineFrame, note: (sent: GpuFrame) => void): Promise<void> {
    const { frames, gpu, task } = this;
    const number = this.numberOf(frame.ordinal);
    note({ ...frame, pixels: frames.send(number), bits: task.bits });
    gpu.submit();
    frames.free(number);
    await gpu.check();
  }
}

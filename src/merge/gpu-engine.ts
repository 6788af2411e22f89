import type { FocusCurves } from '../focus/focus-curves.js';
import type { Gpu } from '../gpu/device.js';
import { GpuFocus } from '../gpu/focus.js';
import { FrameRing } from '../gpu/frame-ring.js';
import { planeOf } from '../kernels/arena.js';
import type { SurfaceMaps } from '../surface/surface.js';
import { focusLevels } from './arena-need.js';
import type { EngineFrame, EngineTask, FrameRows, MergeEngine } from './engine.js';
import { ProcessorEngine } from './processor-engine.js';

/** Focus curves on a graphics processor; the other stations on the processor, to which the curves are brought back. */
export class GpuEngine implements MergeEngine {
  readonly slots = 2;
  private ring: FrameRing | undefined;
  private focus: GpuFocus | undefined;

  private constructor(
    private readonly gpu: Gpu,
    private readonly task: EngineTask,
    private readonly processor: ProcessorEngine,
  ) {
    const { size, frame, bits, toFrame, rule, dust, curve } = task;
    this.ring = new FrameRing(gpu, frame, bits);
    const light = rule === 'auto' ? curve : undefined;
    this.focus = new GpuFocus(gpu, size, frame, focusLevels, toFrame.length, dust, light);
  }

  /** Throws GpuError. The device is closed with the engine. */
  static async start(gpu: Gpu, task: EngineTask): Promise<GpuEngine> {
    const processor = await ProcessorEngine.start(task);
    try {
      const engine = new GpuEngine(gpu, task, processor);
      await gpu.check();
      return engine;
    } catch (error) {
      await processor.close();
      gpu.close();
      throw error;
    }
  }

  async slotFor(ordinal: number): Promise<FrameRows[]> {
    if (!this.ring) return this.processor.slotFor(ordinal);
    return [{ from: 0, to: this.task.frame.height, pixels: await this.ring.slotFor(ordinal) }];
  }

  async follow(frame: EngineFrame): Promise<void> {
    const { ring, gpu, focus, task } = this;
    focus!.add({ ...frame, pixels: ring!.send(frame.ordinal), bits: task.bits });
    gpu.submit();
    ring!.free(frame.ordinal);
    await gpu.check();
  }

  async curves(): Promise<FocusCurves> {
    const { gpu, processor } = this;
    const focus = this.focus!;
    await processor.adopt(async (tracker, arena, lights) => {
      for (const [level, from] of focus.state.entries()) {
        const to = tracker.state[level];
        for (let plane = 0; plane < from.planes; plane++) {
          await arena.putRows(planeOf(to, plane), (bytes) => gpu.readPlane(from, plane, bytes, to.rowBytes));
        }
      }
      tracker.adoptNoise(await focus.lowCodes());
      const light = focus.lights;
      if (lights && light) {
        await arena.putRows(lights, (bytes) => gpu.readPlane(light, 0, bytes, lights.rowBytes));
      }
    });
    gpu.close();
    this.ring = undefined;
    this.focus = undefined;
    return processor.curves();
  }

  findSurface(nearSign: -1 | 0 | 1, blurPx: number | undefined): Promise<number> {
    return this.processor.findSurface(nearSign, blurPx);
  }

  plan(nearSign: -1 | 0 | 1, blurPx: number | undefined): Promise<void> {
    return this.processor.plan(nearSign, blurPx);
  }

  findSpill(nearSign: -1 | 1, blurPx: number): Promise<number> {
    return this.processor.findSpill(nearSign, blurPx);
  }

  readMaps(): Promise<{ maps: SurfaceMaps; sources: Uint16Array }> {
    return this.processor.readMaps();
  }

  startBlend(lost: number): Promise<void> {
    return this.processor.startBlend(lost);
  }

  blend(frame: EngineFrame): Promise<void> {
    return this.processor.blend(frame);
  }

  finish(bits: 8 | 16): Promise<Uint8Array | Uint16Array> {
    return this.processor.finish(bits);
  }

  async close(): Promise<void> {
    this.gpu.close();
    await this.processor.close();
  }
}

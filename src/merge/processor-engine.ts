import type { SmallPicture } from '../blend/picture-so-far.js';
import { planSources, type SourcePlan, takePlan } from '../blend/plan-sources.js';
import { PyramidBlender } from '../blend/pyramid-blender.js';
import { type Spill, SpillFinder, takeSpill } from '../blend/spill.js';
import type { FocusCurves } from '../focus/focus-curves.js';
import { FocusTracker } from '../focus/focus-tracker.js';
import type { PixelData } from '../image/image.js';
import type { PlacedFrame } from '../image/placed-frame.js';
import { Arena } from '../kernels/arena.js';
import { findSurface, readSurface, type Surface, type SurfaceMaps } from '../surface/surface.js';
import { StripPool } from '../workers/pool.js';
import { focusLevels, frameSlots, workerScratchBytes } from './arena-need.js';
import type { EngineFrame, EngineTask, MergeEngine } from './engine.js';

/** The stations on the processor: kernels over one arena, by strips that workers pull. */
export class ProcessorEngine implements MergeEngine {
  readonly slots: 1 | 2;
  private readonly places: readonly number[];
  private readonly sourcePlan: SourcePlan;
  private readonly spill: Spill | undefined;
  private readonly beforeTracker: number;
  private readonly tracker: FocusTracker;
  private readonly spillFinder: SpillFinder | undefined;
  private surface: Surface | undefined;
  private isSpilled = false;
  private blender: PyramidBlender | undefined;

  private constructor(
    private readonly task: EngineTask,
    private readonly arena: Arena,
    private readonly pool: StripPool,
  ) {
    const { size, frame, bits, toFrame, isStored, rule, dust, curve } = task;
    // Reading from the disk takes no time that a second slot would be worth.
    this.slots = isStored ? 1 : frameSlots(frame);
    this.places = Array.from({ length: this.slots }, () =>
      arena.take(frame.width * frame.height * 3 * (bits / 8) + 64),
    );
    this.sourcePlan = takePlan(arena, size, toFrame.length);
    // `select` and `weigh` show frames as they are.
    this.spill = rule === 'auto' ? takeSpill(arena, size) : undefined;
    this.beforeTracker = arena.mark();
    this.tracker = new FocusTracker(arena, pool, size, frame, focusLevels, dust);
    this.spillFinder =
      this.spill && this.tracker.levels > 1 ? new SpillFinder(arena, pool, this.tracker, curve) : undefined;
  }

  static async start(task: EngineTask): Promise<ProcessorEngine> {
    const { size, frame, toFrame, threads } = task;
    const arena = new Arena();
    const maxRoll = Math.max(...toFrame.map((m) => Math.abs(Math.atan2(m[3], m[0]))));
    const scratch = workerScratchBytes(size, frame, toFrame.length, maxRoll + 0.001);
    const pool = await StripPool.start(arena, threads, scratch);
    try {
      return new ProcessorEngine(task, arena, pool);
    } catch (error) {
      await pool.close();
      throw error;
    }
  }

  async slotFor(ordinal: number): Promise<PixelData> {
    const { frame, bits } = this.task;
    const samples = frame.width * frame.height * 3;
    const pointer = this.places[ordinal % this.slots];
    return bits === 8 ? this.arena.u8(pointer, samples) : this.arena.u16(pointer, samples);
  }

  async follow(frame: EngineFrame): Promise<void> {
    const placed = this.placed(frame);
    await this.tracker.add(placed);
    await this.spillFinder?.note(placed);
  }

  /** In place of `follow`: what was followed elsewhere is put into the tracker's planes, and the light into its bytes. */
  async adopt(
    fill: (tracker: FocusTracker, arena: Arena, lights?: Uint8Array) => Promise<void>,
  ): Promise<void> {
    await fill(this.tracker, this.arena, this.spillFinder?.lightBytes);
  }

  async curves(): Promise<FocusCurves> {
    return this.tracker;
  }

  async findSurface(nearSign: -1 | 0 | 1, blurPx: number | undefined): Promise<number> {
    const { arena, pool, tracker, task } = this;
    const { steps, unit } = task;
    this.surface = await findSurface(arena, pool, tracker, this.bounds, nearSign, steps, blurPx, unit);
    return this.surface.detailShare;
  }

  async plan(nearSign: -1 | 0 | 1, blurPx: number | undefined): Promise<void> {
    const { arena, pool, sourcePlan, surface, task } = this;
    const { toFrame, frame, rule } = task;
    await planSources(arena, pool, sourcePlan, surface!, toFrame, frame, rule, nearSign, blurPx);
  }

  async findSpill(nearSign: -1 | 1, blurPx: number): Promise<number> {
    if (!this.spill || !this.spillFinder) return 0;
    this.isSpilled = true;
    return this.spillFinder.find(this.spill, this.surface!, blurPx, nearSign);
  }

  async readMaps(): Promise<{ maps: SurfaceMaps; sources: Uint16Array }> {
    const { arena, pool, surface, task, sourcePlan } = this;
    const maps = await readSurface(arena, pool, surface!, this.bounds);
    const { width, height } = task.size;
    return { maps, sources: arena.u16(sourcePlan.sources, width * height).slice() };
  }

  async startBlend(lost: number): Promise<void> {
    const { arena, pool, task, sourcePlan } = this;
    const { size, frame, curve } = task;
    // The focus state has served: the blend takes its place in the arena.
    arena.release(this.beforeTracker);
    const spill = this.isSpilled ? this.spill : undefined;
    this.blender = new PyramidBlender(arena, pool, size, frame, sourcePlan, curve, spill, lost);
  }

  async blend(frame: EngineFrame): Promise<void> {
    await this.blender!.add(this.placed(frame));
  }

  async pictureSoFar(maxSide: number): Promise<SmallPicture | undefined> {
    return this.blender!.soFar(maxSide);
  }

  async finish(bits: 8 | 16): Promise<Uint8Array | Uint16Array> {
    const out = await this.blender!.finish(bits);
    const count = this.task.size.width * this.task.size.height * 3;
    return bits === 8 ? this.arena.u8(out, count) : this.arena.u16(out, count);
  }

  async close(): Promise<void> {
    await this.pool.close();
  }

  private get bounds() {
    return { toFrame: this.task.toFrame, frame: this.task.frame };
  }

  private placed(frame: EngineFrame): PlacedFrame {
    const { bits, frame: size } = this.task;
    return { pointer: this.places[frame.ordinal % this.slots], bits, ...size, ...frame };
  }
}

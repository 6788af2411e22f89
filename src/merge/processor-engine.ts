import type { SmallPicture } from '../blend/picture-so-far.js';
import { planSources, type SourcePlan, takePlan } from '../blend/plan-sources.js';
import { PyramidBlender } from '../blend/pyramid-blender.js';
import { type Spill, SpillFinder, takeSpill } from '../blend/spill.js';
import type { FocusCurves } from '../focus/focus-curves.js';
import { FocusTracker } from '../focus/focus-tracker.js';
import type { PixelData } from '../image/image.js';
import { Arena, type Rows } from '../kernels/arena.js';
import type { PlacedFrame } from '../kernels/placed-frame.js';
import { findSurface, readSurface, type Surface, type SurfaceMaps } from '../surface/surface.js';
import { StripPool } from '../workers/pool.js';
import { fitBands, focusLevels, frameSlots, workerScratchBytes } from './arena-need.js';
import type { EngineFrame, EngineTask, FrameRows, MergeEngine } from './engine.js';

/** The stations on the processor: kernels over one arena, by strips that workers pull. */
export class ProcessorEngine implements MergeEngine {
  readonly slots: 1 | 2;
  private places: readonly Rows[];
  private sourcePlan: SourcePlan | undefined;
  private spill: Spill | undefined;
  private readonly tracker: FocusTracker;
  private readonly spillFinder: SpillFinder | undefined;
  /** Where the state of the focus curves lies. */
  private readonly curvesAt: { from: number; to: number };
  private surface: Surface | undefined;
  /** The maps, on their way out of the arena. */
  private reading: Promise<{ maps: SurfaceMaps; sources: Uint16Array }> | undefined;
  private isSpilled = false;
  private beforeSlots = 0;
  /** What the blend leaves of the place of the curves. */
  private free = { from: 0, to: 0 };
  private blender: PyramidBlender | undefined;

  private constructor(
    private readonly task: EngineTask,
    private readonly arena: Arena,
    private readonly pool: StripPool,
  ) {
    const { size, frame, isStored, rule, dust, curve, surfaceLevel, threads } = task;
    // Reading from the disk takes no time that a second slot would be worth.
    this.slots = isStored ? 1 : frameSlots(frame, threads);
    const from = arena.mark();
    this.tracker = new FocusTracker(arena, pool, size, frame, focusLevels, dust, surfaceLevel);
    // `select` and `weigh` show frames as they are.
    this.spillFinder =
      rule === 'auto' && this.tracker.levels > 1
        ? new SpillFinder(arena, pool, this.tracker, curve)
        : undefined;
    this.curvesAt = { from, to: arena.mark() };
    this.places = this.takeSlots();
  }

  private takeSlots(): Rows[] {
    const { arena, task } = this;
    const { frame, bits } = task;
    const ofFrame = arena.bands.frame('samples', 0, frame.height);
    return Array.from({ length: this.slots }, () => arena.takeRows(frame.width * 3 * (bits / 8), ofFrame));
  }

  static async start(task: EngineTask): Promise<ProcessorEngine> {
    const { size, frame, bits, toFrame, threads } = task;
    const maxRoll = Math.max(...toFrame.map((m) => Math.abs(Math.atan2(m[3], m[0]))));
    const scratch = workerScratchBytes(size, frame, toFrame.length, maxRoll + 0.001);
    const load = {
      size: frame,
      bits,
      frames: toFrame.length,
      composite: size,
      compositeBits: task.compositeBits,
    };
    const arena = new Arena(fitBands(load, toFrame, threads, scratch));
    const pool = await StripPool.start(arena, threads, scratch);
    try {
      return new ProcessorEngine(task, arena, pool);
    } catch (error) {
      await pool.close();
      throw error;
    }
  }

  async slotFor(ordinal: number): Promise<FrameRows[]> {
    const place = this.places[ordinal % this.slots];
    return place.window.held.map(({ from, to }, memory) => ({
      from,
      to,
      pixels: samplesOf(this.arena.rowsIn(place, memory, from, to), this.task.bits),
    }));
  }

  async follow(frame: EngineFrame): Promise<void> {
    const placed = this.placed(frame);
    await this.tracker.add(placed);
    await this.spillFinder?.note(placed);
  }

  async curves(): Promise<FocusCurves> {
    this.tracker.finish();
    return this.tracker;
  }

  async findSurface(nearSign: -1 | 0 | 1, blurPx: number | undefined): Promise<number> {
    const { arena, pool, tracker, task } = this;
    const { size, toFrame, steps, unit } = task;
    // What frames needed has served, until they are blended: plan and spill take its place.
    arena.release(this.curvesAt.to);
    this.sourcePlan = takePlan(arena, size, toFrame.length);
    this.spill = this.spillFinder && takeSpill(arena, size);
    this.surface = await findSurface(arena, pool, tracker, this.bounds, nearSign, steps, blurPx, unit);
    return this.surface.detailShare;
  }

  async plan(nearSign: -1 | 0 | 1, blurPx: number | undefined): Promise<void> {
    const { arena, pool, sourcePlan, surface, task } = this;
    const { toFrame, frame, rule } = task;
    await planSources(arena, pool, sourcePlan!, surface!, toFrame, frame, rule, nearSign, blurPx);
  }

  async findSpill(nearSign: -1 | 1, blurPx: number): Promise<number> {
    if (!this.spill || !this.spillFinder) return 0;
    this.isSpilled = true;
    return this.spillFinder.find(this.spill, this.surface!, blurPx, nearSign);
  }

  readMaps(): Promise<{ maps: SurfaceMaps; sources: Uint16Array }> {
    const { arena, pool, surface, sourcePlan, task } = this;
    const read = async () => {
      const maps = await readSurface(arena, pool, surface!, this.bounds, task.take);
      return { maps, sources: samplesOf(wholeOf(arena, sourcePlan!.sources, task.take), 16) };
    };
    this.reading = read();
    return this.reading;
  }

  async startBlend(lost: number): Promise<void> {
    const { arena, pool, task, sourcePlan } = this;
    const { size, frame, curve } = task;
    await this.reading;
    const spill = this.isSpilled ? this.spill : undefined;
    // The focus curves have served: the blend takes their place in the arena.
    this.blender = arena.takeWithin(
      this.curvesAt,
      () => new PyramidBlender(arena, pool, size, frame, sourcePlan!, curve, spill, lost),
    );
    this.free = { ...this.curvesAt };
    this.beforeSlots = arena.mark();
    this.places = arena.takeWithin(this.curvesAt, () => this.takeSlots());
  }

  async blend(frame: EngineFrame): Promise<void> {
    await this.blender!.add(this.placed(frame));
  }

  async pictureSoFar(maxSide: number): Promise<SmallPicture | undefined> {
    return this.blender!.soFar(maxSide);
  }

  async finish(bits: 8 | 16): Promise<Uint8Array | Uint16Array> {
    const { arena } = this;
    // The picture takes the place of the frames.
    arena.release(this.beforeSlots);
    const out = await this.blender!.finish(bits, this.free);
    return samplesOf(wholeOf(arena, out, this.task.take), bits);
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

/** Rows without ends as they lie, copied only where they lie in several memories. */
function wholeOf(arena: Arena, rows: Rows, take: EngineTask['take']): Uint8Array {
  return arena.memories.length === 1
    ? arena.rowsIn(rows, 0, 0, rows.window.height)
    : arena.gather(rows, take);
}

function samplesOf(bytes: Uint8Array, bits: 8): Uint8Array;
function samplesOf(bytes: Uint8Array, bits: 16): Uint16Array;
function samplesOf(bytes: Uint8Array, bits: 8 | 16): PixelData;
function samplesOf(bytes: Uint8Array, bits: 8 | 16): PixelData {
  return bits === 8 ? bytes : new Uint16Array(bytes.buffer, bytes.byteOffset, bytes.byteLength >> 1);
}

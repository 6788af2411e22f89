import { expect, it } from 'vitest';
import { planSources, takePlan } from '../../src/blend/plan-sources.js';
import { PyramidBlender } from '../../src/blend/pyramid-blender.js';
import { SpillFinder, takeSpill } from '../../src/blend/spill.js';
import { FocusTracker } from '../../src/focus/focus-tracker.js';
import { srgbCurve } from '../../src/image/transfer-curve.js';
import { identityMatrix } from '../../src/image/transform.js';
import { type Address, Arena, type Rows } from '../../src/kernels/arena.js';
import { kernelRows, rowsAt, rowsOf } from '../../src/kernels/kernel-rows.js';
import {
  compileKernels,
  instantiateKernels,
  type KernelExports,
  type KernelName,
  orderArguments,
  type StripArguments,
} from '../../src/kernels/kernels.js';
import type { PlacedFrame } from '../../src/kernels/placed-frame.js';
import { workerScratchBytes } from '../../src/merge/arena-need.js';
import { findSurface, readSurface } from '../../src/surface/surface.js';
import type { StripPool } from '../../src/workers/pool.js';
import { bandedCount as count, drawBandedFrame, bandedSize as size } from '../merge/banded-stack.js';

/** Rows that strips read of what lies in a frame's own grid, which does not move here: see `cutBands`. */
const frameRows: Partial<Record<KernelName, Record<string, number>>> = {
  focusFinestStrip: { source: 4 },
  focusStrip: { luma: 3 },
  reduceFrameStrip: { source: 4 },
  trackStrip: { codes: 4, luma: 14 },
  pickStrip: { codes: 4 },
  noteLightStrip: { source: 14 },
  warpStrip: { source: 4 },
  blendFinestStrip: { source: 14 },
};

/**
 * Runs kernels in this thread, and of each at each level one strip in the middle twice: the second time with nonsense in all
 * rows that it is not to read. Keeps which kernels wrote something else then.
 */
class PoisonedKernels {
  readonly tried = new Set<string>();
  readonly wrong: string[] = [];

  constructor(
    private readonly arena: Arena,
    private readonly kernels: KernelExports,
    private readonly scratch: number,
  ) {}

  async run<K extends KernelName>(kernel: K, given: StripArguments<K>, strips: number): Promise<void> {
    const args = orderArguments(kernel, given);
    const { height } = rowsOf(given, kernelRows[kernel].writes).window;
    const name = `${kernel} of ${height} rows`;
    // A frame in the middle of the stack, which has frames before and after it.
    const isAsked = !('ordinal' in given) || given.ordinal === 4;
    if (strips > 2 && isAsked && !this.tried.has(name)) {
      this.tried.add(name);
      const memory = new Uint8Array(this.arena.memory.buffer);
      const before = memory.slice();
      const strip = strips >> 1;
      const stripRows = Number((given as Readonly<Record<'stripRows', Address>>).stripRows);
      const own = { from: strip * stripRows, to: Math.min(height, (strip + 1) * stripRows) };
      const written = () => {
        this.kernels[kernel](...args, strip, this.scratch);
        const found = this.planesOf(kernel, given).map(({ rows }) => {
          const { from, to } = rowsAt(own, height, rows.window.height, 0);
          return Buffer.from(this.bytesOf(rows, from, to));
        });
        memory.set(before);
        return Buffer.concat(found);
      };
      const plain = written();
      for (const { rows, reach } of this.planesOf(kernel, given)) {
        const { from, to } = rowsAt(own, height, rows.window.height, reach);
        this.bytesOf(rows, 0, from).fill(0xa7);
        this.bytesOf(rows, to, rows.window.height).fill(0xa7);
      }
      if (!written().equals(plain)) this.wrong.push(name);
    }
    for (let strip = 0; strip < strips; strip++) this.kernels[kernel](...args, strip, this.scratch);
  }

  /** Planes among the arguments, and how many rows about its own a strip may read of them. */
  private planesOf<K extends KernelName>(
    kernel: K,
    given: StripArguments<K>,
  ): { rows: Rows; reach: number }[] {
    const reads = kernelRows[kernel].reads as Record<string, unknown> | undefined;
    // Supports of four bytes take the place of planes 3 and 4 of level 0.
    const { supports } = given as { supports?: Rows };
    const taken = supports ? supports.pointer - supports.endBytes : Number.POSITIVE_INFINITY;
    return Object.entries<Address>(given).flatMap(([name, address]) => {
      if (typeof address === 'number') return [];
      const stated = reads?.[name] ?? frameRows[kernel]?.[name] ?? 0;
      const reach = Math.ceil(typeof stated === 'function' ? stated(given) : Number(stated));
      const all = 'levels' in address ? address.levels : [address];
      return all.flatMap((rows) =>
        Array.from({ length: rows.planes }, (_, plane) => ({
          rows: { ...rows, pointer: rows.pointer + plane * rows.planeBytes, planes: 1 },
          reach,
        })).filter(({ rows: { pointer, planeBytes } }) => {
          return !('levels' in address) || pointer < taken || pointer >= taken + 2 * planeBytes;
        }),
      );
    });
  }

  private bytesOf({ pointer, rowBytes, endBytes }: Rows, from: number, to: number): Uint8Array {
    return this.arena.u8(pointer + from * rowBytes - endBytes, Math.max(0, to - from) * rowBytes);
  }
}

it('no kernel reads rows beyond those that are stated', async () => {
  const arena = new Arena();
  const scratch = arena.take(workerScratchBytes(size, size, count, 0.001));
  const poisoned = new PoisonedKernels(
    arena,
    await instantiateKernels(await compileKernels(), arena.memory),
    scratch,
  );
  const pool = poisoned as unknown as StripPool;
  const toFrame = Array.from({ length: count }, () => identityMatrix);
  const [nearSign, blurPx] = [1, 1.7] as const;
  const samples = size.width * size.height * 3;
  const pointer = arena.takeRows(size.width * 3, arena.bands.frame('samples', 0, size.height));
  const frames = toFrame.map((_, k) => drawBandedFrame(k + 1, 8));
  const placed = (k: number): PlacedFrame => {
    arena.u8(pointer.pointer, samples).set(frames[k]);
    return { pointer, bits: 8, ...size, toFrame: identityMatrix, gainRatio: [1, 1, 1], ordinal: k + 1 };
  };
  const plan = takePlan(arena, size, count);
  const spill = takeSpill(arena, size);
  const tracker = new FocusTracker(arena, pool, size, size, 4);
  const finder = new SpillFinder(arena, pool, tracker, srgbCurve);
  for (let k = 0; k < count; k++) {
    await tracker.add(placed(k));
    await finder.note(placed(k));
  }
  const bounds = { toFrame, frame: size };
  const steps = Array<number>(count - 1).fill(1);
  const surface = await findSurface(arena, pool, tracker, bounds, nearSign, steps, blurPx, 1);
  await planSources(arena, pool, plan, surface, toFrame, size, 'auto', nearSign, blurPx);
  expect(await finder.find(spill, surface, blurPx, nearSign)).toBeGreaterThan(0.01);
  await readSurface(arena, pool, surface, bounds);
  const blender = new PyramidBlender(arena, pool, size, size, plan, srgbCurve, spill);
  for (let k = 0; k < count; k++) await blender.add(placed(k));
  await blender.finish(8);

  // The surface at half the size.
  const halved = new FocusTracker(arena, pool, size, size, 4, [], 1);
  for (let k = 0; k < count; k++) await halved.add(placed(k));
  const enlarged = await findSurface(arena, pool, halved, bounds, nearSign, steps, blurPx, 1);
  await planSources(arena, pool, plan, enlarged, toFrame, size, 'select', nearSign, blurPx);
  await readSurface(arena, pool, enlarged, bounds);

  expect(poisoned.wrong).toEqual([]);
  const kernels = new Set([...poisoned.tried].map((run) => run.split(' ')[0]));
  // Large pictures alone have encodeUsedStrip, and where they lie in one memory.
  expect([...kernels, 'encodeUsedStrip'].sort()).toEqual(Object.keys(kernelRows).sort());
});

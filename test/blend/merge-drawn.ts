import { planSources, takePlan } from '../../src/blend/plan-sources.js';
import { PyramidBlender } from '../../src/blend/pyramid-blender.js';
import { FocusTracker } from '../../src/focus/focus-tracker.js';
import type { Size } from '../../src/image/image.js';
import { srgbCurve } from '../../src/image/transfer-curve.js';
import { identityMatrix } from '../../src/image/transform.js';
import { Arena } from '../../src/kernels/arena.js';
import type { PlacedFrame } from '../../src/kernels/placed-frame.js';
import type { SourceRule } from '../../src/options/source-rule.js';
import { findSurface } from '../../src/surface/surface.js';
import { StripPool } from '../../src/workers/pool.js';

/**
 * Merges still frames, interleaved RGB of 8 bits, at even steps and without spill.
 *
 * @param blurOf What the blend is told of the blur, asked when the focus curves are followed.
 */
export async function mergeDrawn(
  frames: readonly Uint8Array[],
  size: Size,
  rule: SourceRule,
  nearSign: -1 | 1,
  blurOf: (tracker: FocusTracker) => { blurPx: number | undefined; lost: number },
): Promise<Uint8Array> {
  const arena = new Arena();
  const scratch = Math.max(PyramidBlender.scratchBytes(size, size, 0.01), FocusTracker.scratchBytes(size));
  const pool = await StripPool.start(arena, 2, scratch);
  try {
    const count = frames.length;
    const samples = size.width * size.height * 3;
    const pointer = arena.take(samples + 64);
    const plan = takePlan(arena, size, count);
    const placed = (k: number): PlacedFrame => {
      arena.u8(pointer, samples).set(frames[k]);
      return { pointer, bits: 8, ...size, toFrame: identityMatrix, gainRatio: [1, 1, 1], ordinal: k + 1 };
    };
    const tracker = new FocusTracker(arena, pool, size, size, 4);
    for (let k = 0; k < count; k++) await tracker.add(placed(k));
    const { blurPx, lost } = blurOf(tracker);
    const still = frames.map(() => identityMatrix);
    const surface = await findSurface(
      arena,
      pool,
      tracker,
      { toFrame: still, frame: size },
      nearSign,
      Array(count - 1).fill(1),
      blurPx,
      1,
    );
    await planSources(arena, pool, plan, surface, still, size, rule, nearSign, blurPx);
    const blender = new PyramidBlender(arena, pool, size, size, plan, srgbCurve, undefined, lost);
    for (let k = 0; k < count; k++) await blender.add(placed(k));
    return arena.gather(await blender.finish(8));
  } finally {
    await pool.close();
  }
}

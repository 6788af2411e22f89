import { PyramidBlender } from '../../src/blend/pyramid-blender.js';
import type { Size } from '../../src/image/image.js';
import { curveArguments, srgbCurve } from '../../src/image/transfer-curve.js';
import { Arena } from '../../src/kernels/arena.js';
import { lanczosTaps, tapTableBytes } from '../../src/kernels/kernels.js';
import { StripPool } from '../../src/workers/pool.js';
import { fastest } from './fastest.js';

const stripRows = 32;

/** Seconds for one picture, by what is done to it. */
export interface PictureTimes {
  /** To half size by the 5-tap kernel. */
  reduce: number;
  /** Resampled by `benchAffine`. */
  warp: number;
  /** From half size to full size by the 5-tap kernel. */
  expand: number;
}

/** A small roll, enlargement and shift, as between two frames: output pixel → source pixel, row-major 2 x 3. */
export const benchAffine = [1.001, 0.0005, 3.3, -0.0005, 1.001, -2.7] as const;

/**
 * Times the strip kernels on one 8-bit RGB picture; results are floats. The expansion is that of the collapse,
 * which divides by the weights and adds the coarser level in the same pass.
 */
export async function timeOurKernels(pixels: Uint8Array, size: Size, threads: number): Promise<PictureTimes> {
  const { width, height } = size;
  const half = { width: (width + 1) >> 1, height: (height + 1) >> 1 };
  const arena = new Arena();
  const pool = await StripPool.start(arena, threads, PyramidBlender.scratchBytes(size, size, 0.001));
  try {
    const source = arena.take(pixels.length + 64);
    arena.u8(source, pixels.length).set(pixels);
    const taps = arena.take(tapTableBytes);
    arena.f32(taps, tapTableBytes / 4).set(lanczosTaps());
    const reduced = arena.take(half.width * half.height * 16 + 64);
    const warped = arena.takePlanes(width, height, 3, 4);
    const weight = arena.takePlanes(width, height, 1, 4);
    const coarse = arena.takeCleared(half.width, half.height, 3, 4);
    const strips = Math.ceil(height / stripRows);
    const gains = { gainR: 1, gainG: 1, gainB: 1 };
    const [a, b, c, d, e, f] = benchAffine;
    const grid = { stride: warped.stride, width, height, stripRows };
    const reduce = await fastest(() =>
      pool.run(
        'reduceFrameStrip',
        { source, bits: 8, width, height, ...gains, ...curveArguments(srgbCurve), out: reduced, stripRows },
        Math.ceil(half.height / stripRows),
      ),
    );
    const warp = await fastest(() =>
      pool.run(
        'warpStrip',
        {
          source,
          bits: 8,
          sourceWidth: width,
          sourceHeight: height,
          ...gains,
          ...{ a, b, c, d, e, f },
          taps,
          out: warped.pointer,
          planeBytes: warped.planeBytes,
          ...grid,
        },
        strips,
      ),
    );
    // Weights of 1 leave the sums as they are, so that every repetition has the same work.
    arena.f32(weight.pointer - 64, weight.planeBytes / 4).fill(1);
    const expand = await fastest(() =>
      pool.run(
        'collapseStrip',
        {
          acc: warped.pointer,
          accBytes: warped.planeBytes,
          sum: weight.pointer,
          coarse: coarse.pointer,
          coarseStride: coarse.stride,
          coarseBytes: coarse.planeBytes,
          ...grid,
        },
        strips,
      ),
    );
    return { reduce, warp, expand };
  } finally {
    await pool.close();
  }
}

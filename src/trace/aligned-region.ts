import ops from 'ndarray-ops';
import { FrameReach } from '../image/frame-reach.js';
import type { Size } from '../image/image.js';
import { applyMatrix, composeMatrices, type Matrix3 } from '../image/transform.js';
import { viewOf } from '../image/view.js';
import type { FramePatch } from './frame-region.js';
import { type LocalKernels, stripRows } from './local-kernels.js';
import { clipRegion, type PictureRegion } from './picture-region.js';

/** Pixels around a region that its resampling reads: three taps a side, and rounding. */
const tapMargin = 6;

/** A frame as the composite sees it, over a region. */
export interface AlignedRegion extends Size {
  /** Planes red, green, blue, each (height, width), 0 to 255 whatever the bits, the frame's light gain removed. */
  planes: [Float32Array, Float32Array, Float32Array];
  /** For each row the first and past-the-end column that the frame covers; beyond, its edge pixels are repeated. */
  coveredFrom: Int32Array;
  coveredTo: Int32Array;
}

/** The rectangle of frame pixels that a region of the composite is resampled from; undefined when it misses the frame. */
export function frameFootprint(
  toFrame: Matrix3,
  region: PictureRegion,
  frame: Size,
  margin = tapMargin,
): PictureRegion | undefined {
  const corners = [
    [region.x, region.y],
    [region.x + region.width - 1, region.y],
    [region.x, region.y + region.height - 1],
    [region.x + region.width - 1, region.y + region.height - 1],
  ].map(([x, y]) => applyMatrix(toFrame, x, y));
  const xs = corners.map(([x]) => x);
  const ys = corners.map(([, y]) => y);
  const left = Math.floor(Math.min(...xs)) - margin;
  const top = Math.floor(Math.min(...ys)) - margin;
  const right = Math.ceil(Math.max(...xs)) + margin;
  const bottom = Math.ceil(Math.max(...ys)) + margin;
  return clipRegion({ x: left, y: top, width: right - left + 1, height: bottom - top + 1 }, frame);
}

/**
 * Resamples a frame to a region of the composite by the same kernel that made the composite (assembly/warp.ts).
 *
 * @param patch The frame's pixels over `frameFootprint` of the region.
 * @param frame Size of the whole frame, in the pixels of `patch`.
 */
export function alignRegion(
  kernels: LocalKernels,
  patch: FramePatch,
  frame: Size,
  toFrame: Matrix3,
  gainRatio: readonly [number, number, number],
  region: PictureRegion,
): AlignedRegion {
  const { width, height } = region;
  const fromRegion = composeMatrices(toFrame, [1, 0, region.x, 0, 1, region.y, 0, 0, 1]);
  const [a, b, c, d, e, f] = fromRegion;
  return kernels.within(() => {
    const { arena } = kernels;
    const source = arena.take(patch.pixels.byteLength + 64);
    if (patch.bits === 8) arena.u8(source, patch.pixels.length).set(patch.pixels);
    else arena.u16(source, patch.pixels.length).set(patch.pixels);
    const out = arena.takePlanes(width, height, 3, 4);
    const scratch = arena.take(warpScratchBytes(width, a, d, e));
    kernels.run(
      'warpStrip',
      {
        source,
        bits: patch.bits,
        sourceWidth: patch.width,
        sourceHeight: patch.height,
        gainR: gainRatio[0],
        gainG: gainRatio[1],
        gainB: gainRatio[2],
        a,
        b,
        c: c - patch.x,
        d,
        e,
        f: f - patch.y,
        taps: kernels.taps,
        out: out.pointer,
        stride: out.stride,
        planeBytes: out.planeBytes,
        width,
        height,
      },
      height,
      scratch,
    );
    const planes = [0, 1, 2].map((plane) => {
      const packed = new Float32Array(width * height);
      const padded = viewOf(arena.planeF32(out, plane), out, undefined, out.stride);
      ops.assign(viewOf(packed, out), padded);
      return packed;
    });
    return {
      width,
      height,
      planes: planes as AlignedRegion['planes'],
      ...coveredColumns(fromRegion, frame, width, height),
    };
  });
}

function coveredColumns(fromRegion: Matrix3, frame: Size, width: number, height: number) {
  const reach = new FrameReach([fromRegion], frame, width, 0);
  const coveredFrom = new Int32Array(height);
  const coveredTo = new Int32Array(height);
  for (let y = 0; y < height; y++) {
    reach.enterRow(y);
    coveredFrom[y] = reach.from[0];
    coveredTo[y] = reach.to[0];
  }
  return { coveredFrom, coveredTo };
}

/** Room for one block of 512 columns between the two passes: see `warpBlock`. */
function warpScratchBytes(width: number, a: number, d: number, e: number): number {
  const columns = Math.min(512, width);
  const across = columns * Math.abs(a) + 2 * Math.abs(d) * stripRows + 96;
  const rows = stripRows * Math.abs(e) + Math.abs(d) * columns + 24;
  return Math.ceil(2 * across + rows * (columns + 8)) * 16 + 256;
}

import sharp from 'sharp';
import type { Size } from '../image/image.js';
import { Arena, type Planes } from '../kernels/arena.js';
import { eightBits } from '../result/write-composite.js';
import { averageBoxes } from '../stack/average-boxes.js';
import type { Shrink } from '../stack/decode.js';
import { withImagePath } from '../stack/image-path.js';
import { widenSamples } from '../stack/widen-samples.js';
import { decodeReducedFrame } from '../trace/decode-reduced.js';
import { measureOfCode } from '../trace/focus-curve.js';
import type { StackFrame } from '../trace/stack-frames.js';
import { StripPool } from '../workers/pool.js';

const stripRows = 32;
/** Frames are measured at a size of this many pixels at most, halved as often as it takes. */
const maxPixels = 8e6;
/** Cells of the composite for which curves are kept, at most. */
const maxCells = 90_000;
/** Points of a cell along each side at which the measure is looked up. */
const pointsPerSide = 3;
const edgeMargin = 2;

/**
 * Focus curves of the whole picture: the composite is cut into square cells, and for each the measure of a merge is
 * kept for every frame. Frames are measured one after another in the background; until then they are unknown.
 */
export class CurveVolume {
  readonly cellPx: number;
  readonly columns: number;
  readonly rows: number;
  measured = 0;
  /** [frame][cell], codes of assembly/focus.ts; 0 = unknown. */
  private readonly codes: (Uint16Array | undefined)[];
  /** [frame][cell], levels of 8 bits, as the frame shows them. */
  private readonly lumas: (Uint8Array | undefined)[];

  constructor(
    private readonly size: Size,
    private readonly frames: readonly StackFrame[],
  ) {
    this.cellPx = Math.max(4, Math.ceil(Math.sqrt((size.width * size.height) / maxCells)));
    this.columns = Math.ceil(size.width / this.cellPx);
    this.rows = Math.ceil(size.height / this.cellPx);
    this.codes = frames.map(() => undefined);
    this.lumas = frames.map(() => undefined);
  }

  /**
   * Measures all frames that are there. One that cannot be read, or is no longer the one that was merged, stays unknown.
   *
   * @param check Says where a frame lies; rejects when it has changed.
   * @returns Why frames stayed unknown.
   */
  async measureAll(check: (frame: StackFrame) => Promise<string>, signal: AbortSignal): Promise<string[]> {
    const first = this.frames[0];
    const faults: string[] = [];
    if (!first) return faults;
    let shrink = 1;
    while ((first.size.width * first.size.height) / shrink ** 2 > maxPixels) shrink *= 2;
    const small = {
      width: Math.floor(first.size.width / shrink),
      height: Math.floor(first.size.height / shrink),
    };
    const arena = new Arena();
    const pool = await StripPool.start(arena, 1, (2 * stripRows + 20) * (small.width + 64) * 4 + 4096);
    try {
      const scratch = takeScratchBuffers(arena, small);
      for (const [i, frame] of this.frames.entries()) {
        if (signal.aborted) return faults;
        if (frame.path !== undefined) {
          const reading = frame.development
            ? readSmallRaw(frame, frame.path, shrink)
            : readSmall(frame.path, first.reduced?.fileSize ?? first.size, small);
          const pixels = await reading.catch(() => undefined);
          // After decoding, which has brought the file into the system's memory.
          const isSame = await check(frame).then(
            () => true,
            (error: Error) => {
              faults.push(error.message);
              return false;
            },
          );
          if (signal.aborted) return faults;
          if (pixels && isSame) {
            const lumas = new Uint8Array(this.columns * this.rows);
            this.codes[i] = await this.measure(arena, pool, scratch, pixels, frame, shrink, small, lumas);
            this.lumas[i] = lumas;
          }
        }
        this.measured = i + 1;
      }
      return faults;
    } finally {
      await pool.close();
    }
  }

  private async measure(
    arena: Arena,
    pool: StripPool,
    scratch: ScratchBuffers,
    pixels: Uint8Array,
    frame: StackFrame,
    shrink: number,
    { width, height }: Size,
    lumas: Uint8Array,
  ): Promise<Uint16Array> {
    arena.u8(scratch.source, pixels.length).set(pixels);
    const { codes, luma, half } = scratch;
    await pool.run(
      'focusFinestStrip',
      {
        source: scratch.source,
        bits: 8,
        width,
        height,
        codes: codes.pointer,
        lumaOut: luma.pointer,
        codeStride: codes.stride,
        coarse: half.pointer,
        coarseStride: half.stride,
        stripRows,
      },
      Math.ceil(height / stripRows),
    );
    const plane = arena.planeU16(codes);
    const out = new Uint16Array(this.columns * this.rows);
    const [a, b, c, d, e, f] = frame.toFrame;
    for (let row = 0; row < this.rows; row++) {
      for (let column = 0; column < this.columns; column++) {
        let sum = 0;
        let light = 0;
        let count = 0;
        for (let j = 0; j < pointsPerSide; j++) {
          const y = Math.min(this.size.height - 1, (row + (j + 0.5) / pointsPerSide) * this.cellPx);
          for (let i = 0; i < pointsPerSide; i++) {
            const x = Math.min(this.size.width - 1, (column + (i + 0.5) / pointsPerSide) * this.cellPx);
            const u = Math.round((a * x + b * y + c + 0.5) / shrink - 0.5);
            const v = Math.round((d * x + e * y + f + 0.5) / shrink - 0.5);
            if (u < edgeMargin || v < edgeMargin || u >= width - edgeMargin || v >= height - edgeMargin)
              continue;
            sum += measures[plane[v * codes.stride + u]];
            const at = (v * width + u) * 3;
            light += 0.299 * pixels[at] + 0.587 * pixels[at + 1] + 0.114 * pixels[at + 2];
            count++;
          }
        }
        // 0 is kept for unknown; the code of no measure at all is 0 too, so it becomes 1.
        out[row * this.columns + column] = count > 0 ? Math.max(1, codeOf(sum / count)) : 0;
        lumas[row * this.columns + column] = count > 0 ? Math.round(light / count) : 0;
      }
    }
    return out;
  }

  /** The curve at a pixel, by index among the frames; null where unknown. */
  at(x: number, y: number): (number | null)[] {
    const column = Math.min(this.columns - 1, Math.floor(x / this.cellPx));
    const row = Math.min(this.rows - 1, Math.floor(y / this.cellPx));
    return this.mean([row * this.columns + column]);
  }

  /** The curve of a cell, by index among the frames; null where unknown. */
  readonly curve = (cell: number): (number | null)[] => this.mean([cell]);

  /** Luma of a cell in a frame, its light gain removed, levels of 8 bits; 0 where unknown. */
  readonly luma = (frame: number, cell: number): number => {
    const { gainRatio } = this.frames[frame];
    const gain = (gainRatio[0] + gainRatio[1] + gainRatio[2]) / 3;
    return gain * (this.lumas[frame]?.[cell] ?? 0);
  };

  /** The mean curve of cells, by index among the frames; null where unknown. */
  mean(cells: readonly number[]): (number | null)[] {
    return this.codes.map((codes) => {
      if (!codes) return null;
      let sum = 0;
      let count = 0;
      for (const cell of cells) {
        if (codes[cell] === 0) continue;
        sum += measures[codes[cell]];
        count++;
      }
      return count > 0 ? sum / count : null;
    });
  }
}

/** Measures by code: a look-up is quicker than a power. */
const measures = Float32Array.from({ length: 32_768 }, (_, code) => measureOfCode(code));

function codeOf(measure: number): number {
  return Math.round(512 * (Math.log2(measure + 2 ** -20) + 20));
}

interface ScratchBuffers {
  source: number;
  codes: Planes;
  luma: Planes;
  half: Planes;
}

function takeScratchBuffers(arena: Arena, { width, height }: Size): ScratchBuffers {
  return {
    source: arena.take(width * height * 3 + 64),
    codes: arena.takePlanes(width, height, 1, 2),
    luma: arena.takePlanes(width, height, 1, 2),
    half: arena.takePlanes((width + 1) >> 1, (height + 1) >> 1, 1, 4),
  };
}

/** A raw frame at 1 / shrink as 8-bit RGB, by the means of blocks. */
async function readSmallRaw(frame: StackFrame, path: string, shrink: number): Promise<Uint8Array> {
  const { pixels, width, height, channels } = await decodeReducedFrame(
    frame,
    path,
    Math.min(shrink, 8) as Shrink,
  );
  const small = shrink > 8 ? averageBoxes(pixels, width, height, channels, shrink / 8) : pixels;
  return eightBits(widenSamples(small, channels, 3, 16));
}

/** A frame at its reduced size as 8-bit RGB; undefined when it is of another size than the stack. */
function readSmall(file: string, full: Size, small: Size): Promise<Uint8Array | undefined> {
  return withImagePath(file, (path) => readSmallFrom(path, full, small));
}

async function readSmallFrom(path: string, full: Size, small: Size): Promise<Uint8Array | undefined> {
  const options = { ignoreIcc: true, limitInputPixels: false, failOn: 'warning' } as const;
  const { autoOrient } = await sharp(path, options).metadata();
  if (autoOrient.width !== full.width || autoOrient.height !== full.height) return undefined;
  const picture = sharp(path, options).autoOrient().removeAlpha().toColourspace('srgb');
  // No kernel with negative lobes: they would ring around bright spots.
  if (small.width < full.width) picture.resize({ ...small, fit: 'fill', kernel: 'linear' });
  const { data } = await picture.raw().toBuffer({ resolveWithObject: true });
  return data.length === small.width * small.height * 3 ? data : undefined;
}

import type { Size } from './image.js';
import { affineAtLevel } from './placed-frame.js';
import type { Matrix3 } from './transform.js';

/** Resampling next to a frame's edge uses its edge pixels continued; so near it a frame does not count. */
export const edgeMarginPx = 2;

/** Bytes of a frame in `frameTable`. */
export const frameBytes = 7 * 8;

export function isIdentity(m: Matrix3): boolean {
  return m.every((value, i) => value === (i % 4 === 0 ? 1 : 0));
}

/** Margin of a frame at full size: none for the frame that is not resampled. */
export function marginOf(toFrame: Matrix3): number {
  return isIdentity(toFrame) ? 0 : edgeMarginPx;
}

/**
 * Frames for kernels at a level: for each seven numbers, composite pixel to frame pixel (a b c d e f) and the margin.
 *
 * @param margin Pixels of full size, or, for focus curves, of the level.
 */
export function frameTable(
  toFrame: readonly Matrix3[],
  level: number,
  margin: (m: Matrix3) => number = (m) => marginOf(m) / 2 ** level,
): number[] {
  return toFrame.flatMap((m) => [...affineAtLevel(m, level), margin(m)]);
}

/** Which frames reach which pixels of a level, row by row: the twin of `reach` in assembly/common.ts. */
export class FrameReach {
  private readonly affine: [number, number, number, number, number, number][];
  private readonly margins: number[];
  private readonly lastColumn: number;
  private readonly lastRow: number;
  /** First column and past-the-end column of each frame in the row at hand. */
  readonly from: Int32Array;
  readonly to: Int32Array;
  /** Columns that every frame reaches. */
  allFrom = 0;
  allTo = 0;

  /** @param margin Pixels of the level: see `frameTable`. */
  constructor(
    toFrame: readonly Matrix3[],
    frame: Size,
    private readonly width: number,
    level: number,
    margin: (m: Matrix3) => number = (m) => marginOf(m) / 2 ** level,
  ) {
    this.affine = toFrame.map((m) => affineAtLevel(m, level));
    this.margins = toFrame.map(margin);
    this.lastColumn = (frame.width - 1) / 2 ** level;
    this.lastRow = (frame.height - 1) / 2 ** level;
    this.from = new Int32Array(toFrame.length);
    this.to = new Int32Array(toFrame.length);
  }

  /** Computes the spans of a row. */
  enterRow(y: number): void {
    this.allFrom = 0;
    this.allTo = this.width;
    for (let k = 0; k < this.affine.length; k++) {
      const [a, b, c, d, e, f] = this.affine[k];
      const margin = this.margins[k];
      let low = Math.ceil((margin - b * y - c) / a - 1e-9);
      let high = Math.floor((this.lastColumn - margin - b * y - c) / a + 1e-9);
      const vLow = margin - e * y - f;
      const vHigh = this.lastRow - margin - e * y - f;
      if (Math.abs(d) < 1e-12) {
        if (vLow > 1e-9 || vHigh < -1e-9) high = low - 1;
      } else {
        low = Math.max(low, Math.ceil((d > 0 ? vLow : vHigh) / d - 1e-9));
        high = Math.min(high, Math.floor((d > 0 ? vHigh : vLow) / d + 1e-9));
      }
      this.from[k] = Math.max(0, low);
      this.to[k] = Math.max(this.from[k], Math.min(this.width - 1, high) + 1);
      this.allFrom = Math.max(this.allFrom, this.from[k]);
      this.allTo = Math.min(this.allTo, this.to[k]);
    }
  }
}

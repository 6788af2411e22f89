import type { Size } from '../image/image.js';

/**
 * Heights at the corners of a grid of cells, as a triangulation sees them. Column and row of a cell or corner may lie
 * beyond the grid: they stand for the last one.
 */
export interface CellField extends Size {
  isCell(column: number, row: number): boolean;
  /** Whether the surface goes on from a cell to the one on its right, or to the one below. */
  isLinkedRight(column: number, row: number): boolean;
  isLinkedDown(column: number, row: number): boolean;
  /** Height of the surface of a cell at one of its corners. */
  heightAt(cornerX: number, cornerY: number, column: number, row: number): number;
}

/** Called for each triangle; a and b end its longest side. Counterclockwise as seen, x right and y down. */
export type TriangleVisitor = (
  ax: number,
  ay: number,
  bx: number,
  by: number,
  cx: number,
  cy: number,
) => void;

/** Cells of a tile a side; a triangle is half a tile at most. */
const tileCells = 256;
/** In `errors`: nothing lies around this corner. Infinity: a depth edge or the end of the surface does. */
const nothing = -1;

/**
 * Right-triangulated irregular network (Evans, Kirkpatrick & Townsend, "Right-triangulated irregular networks",
 * Algorithmica 30, 2001): halving right triangles at the middle of their longest side, from tiles of `tileCells`, until
 * each is close enough to the surface. Each such middle has an error no less than those of the finer ones that depend on
 * it, so that whatever tolerance is asked for, neighbours split alike and no crack opens. Across depth edges, and beyond
 * the surface, triangles are split down to half cells, so that none spans an edge.
 */
export class Refinement {
  private readonly columns: number;
  private readonly tilesAcross: number;
  private readonly tilesDown: number;
  /** Per corner: error of the longest sides whose middle it is; see `nothing`. */
  private readonly errors: Float32Array;

  constructor(private readonly field: CellField) {
    this.tilesAcross = Math.ceil(field.width / tileCells);
    this.tilesDown = Math.ceil(field.height / tileCells);
    this.columns = this.tilesAcross * tileCells + 1;
    this.errors = new Float32Array(this.columns * (this.tilesDown * tileCells + 1));
    for (let size = 2; size <= tileCells; size *= 2) {
      this.measureEdges(size);
      this.measureBlocks(size);
    }
  }

  /** Number of triangles at a tolerance; stops counting beyond `limit`. */
  count(tolerance: number, limit = Number.POSITIVE_INFINITY): number {
    let count = 0;
    for (const visit of this.tiles()) {
      if (count > limit) break;
      visit(tolerance, () => count++);
    }
    return count;
  }

  /** Largest error that is finite: a tolerance at which nothing but depth edges is refined. */
  get coarsest(): number {
    let max = 0;
    for (let i = 0; i < this.errors.length; i++) {
      if (this.errors[i] > max && this.errors[i] !== Number.POSITIVE_INFINITY) max = this.errors[i];
    }
    return max;
  }

  /** All triangles at a tolerance. Those that lie beyond the grid, without area, are left out. */
  visit(tolerance: number, visitor: TriangleVisitor): void {
    for (const visit of this.tiles()) visit(tolerance, visitor);
  }

  private *tiles(): Generator<(tolerance: number, visitor: TriangleVisitor) => void> {
    for (let row = 0; row < this.tilesDown; row++) {
      for (let column = 0; column < this.tilesAcross; column++) {
        const [left, top] = [column * tileCells, row * tileCells];
        const [right, bottom] = [left + tileCells, top + tileCells];
        yield (tolerance, visitor) => {
          const split = (...triangle: Parameters<TriangleVisitor>) =>
            this.split(tolerance, visitor, ...triangle);
          if ((column + row) % 2 === 0) {
            split(left, top, right, bottom, right, top);
            split(right, bottom, left, top, left, bottom);
          } else {
            split(right, top, left, bottom, right, bottom);
            split(left, bottom, right, top, left, top);
          }
        };
      }
    }
  }

  private split(
    tolerance: number,
    visitor: TriangleVisitor,
    ax: number,
    ay: number,
    bx: number,
    by: number,
    cx: number,
    cy: number,
  ): void {
    const { width, height } = this.field;
    if (Math.min(ax, bx, cx) >= width || Math.min(ay, by, cy) >= height) return;
    const isHalfCell = Math.abs(ax - bx) === 1 && Math.abs(ay - by) === 1;
    if (isHalfCell) {
      if (this.field.isCell(Math.min(ax, bx), Math.min(ay, by))) visitor(ax, ay, bx, by, cx, cy);
      return;
    }
    const mx = (ax + bx) / 2;
    const my = (ay + by) / 2;
    const error = this.errors[my * this.columns + mx];
    if (error > tolerance) {
      this.split(tolerance, visitor, cx, cy, ax, ay, mx, my);
      this.split(tolerance, visitor, bx, by, cx, cy, mx, my);
    } else if (error !== nothing) {
      visitor(ax, ay, bx, by, cx, cy);
    }
  }

  /** Errors at the middles of the sides of blocks of `size` cells. */
  private measureEdges(size: number): void {
    const half = size / 2;
    const [right, bottom] = [this.tilesAcross * tileCells, this.tilesDown * tileCells];
    for (let y = 0; y <= bottom; y += half) {
      const isAlongX = y % size === 0;
      for (let x = isAlongX ? half : 0; x <= right; x += size) {
        const state = this.stateAround(x, y, half);
        const ends = isAlongX ? [x - half, y, x + half, y] : [x, y - half, x, y + half];
        this.errors[y * this.columns + x] =
          Number.isFinite(state) && state >= 0 ? Math.max(state, this.errorAt(x, y, ends)) : state;
      }
    }
  }

  /** Errors at the centres of blocks of `size` cells: the middles of their diagonals. */
  private measureBlocks(size: number): void {
    const half = size / 2;
    const [right, bottom] = [this.tilesAcross * tileCells, this.tilesDown * tileCells];
    for (let y = half; y < bottom; y += size) {
      for (let x = half; x < right; x += size) {
        let error = this.stateAround(x, y, half);
        if (error !== nothing) {
          const [left, top] = [x - half, y - half];
          const isMain = (left / size + top / size) % 2 === 0;
          const ends = isMain ? [left, top, left + size, top + size] : [left + size, top, left, top + size];
          for (const [sideX, sideY] of [
            [x - half, y],
            [x + half, y],
            [x, y - half],
            [x, y + half],
          ]) {
            error = Math.max(error, this.errors[sideY * this.columns + sideX]);
          }
          if (Number.isFinite(error)) error = Math.max(error, this.errorAt(x, y, ends));
        }
        this.errors[y * this.columns + x] = error;
      }
    }
  }

  /**
   * What the blocks of `size` cells around a corner hold: `nothing`; Infinity where a depth edge or the end of the
   * surface runs through them; else the largest of their errors.
   */
  private stateAround(x: number, y: number, size: number): number {
    const [right, bottom] = [this.tilesAcross * tileCells, this.tilesDown * tileCells];
    let worst = nothing;
    let empty = 0;
    let blocks = 0;
    for (let quadrant = 0; quadrant < 4; quadrant++) {
      const blockX = quadrant === 1 || quadrant === 2 ? x : x - size;
      const blockY = quadrant >= 2 ? y : y - size;
      if (blockX < 0 || blockY < 0 || blockX >= right || blockY >= bottom) continue;
      blocks++;
      const state = this.blockState(blockX, blockY, size);
      if (state === nothing) empty++;
      worst = Math.max(worst, state);
    }
    if (empty === blocks) return nothing;
    if (empty > 0 || worst === Number.POSITIVE_INFINITY) return Number.POSITIVE_INFINITY;
    return this.isJoined(x, y, size) ? worst : Number.POSITIVE_INFINITY;
  }

  private blockState(left: number, top: number, size: number): number {
    if (size === 1) return this.field.isCell(left, top) ? 0 : nothing;
    return this.errors[(top + size / 2) * this.columns + left + size / 2];
  }

  /** Whether no depth edge runs along the cross of four arms of `size` cells about a corner. */
  private isJoined(x: number, y: number, size: number): boolean {
    const { field } = this;
    const [right, bottom] = [this.tilesAcross * tileCells, this.tilesDown * tileCells];
    if (x > 0 && x < right) {
      for (let row = Math.max(0, y - size); row < Math.min(bottom, y + size); row++) {
        if (!field.isLinkedRight(x - 1, row)) return false;
      }
    }
    if (y > 0 && y < bottom) {
      for (let column = Math.max(0, x - size); column < Math.min(right, x + size); column++) {
        if (!field.isLinkedDown(column, y - 1)) return false;
      }
    }
    return true;
  }

  /** How far the surface at a corner lies from the middle of two others, all of one surface. */
  private errorAt(x: number, y: number, [ax, ay, bx, by]: readonly number[]): number {
    // Of the cells around a corner one on the side of (x, y), which the triangles on either side hold.
    const towards = (corner: number, middle: number) => (corner < middle ? corner : Math.max(0, corner - 1));
    const height = (cornerX: number, cornerY: number) =>
      this.field.heightAt(cornerX, cornerY, towards(cornerX, x), towards(cornerY, y));
    return Math.abs(height(x, y) - (height(ax, ay) + height(bx, by)) / 2);
  }
}

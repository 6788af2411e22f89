import { InputError } from '../errors.js';
import { directKernels } from './direct-kernels.js';
import {
  mostRows,
  oneBand,
  type RowBands,
  type RowRange,
  type RowWindow,
  wholeWindow,
} from './row-windows.js';

export const pageBytes = 65536;
export const maxArenaPages = 65536;
/** Start of the arena: the first bytes hold the counters of the pool's jobs. */
const firstFree = 1024;

/**
 * Rows of a picture in the arena, in as many memories as it has. Every memory has room for as many rows at the same address,
 * and holds there those of its window.
 */
export interface Rows {
  /** Address of the first row that a memory holds, at its pixel 0. */
  pointer: number;
  rowBytes: number;
  /** Bytes that belong to a row before its pixel 0. */
  endBytes: number;
  /** Bytes from plane to plane. */
  planeBytes: number;
  planes: number;
  window: RowWindow;
}

/** Where planes of a picture lie in the arena; see `assembly/common.ts` for the convention. */
export interface Planes extends Rows {
  width: number;
  height: number;
  /** Elements from row to row. */
  stride: number;
  elementBytes: 2 | 4;
}

/** Addresses of the planes of several levels as kernels read them: see `assembly/curve-state.ts`. */
export interface LevelTable {
  pointer: number;
  levels: readonly Planes[];
}

/** What kernels take as an address: a plain number means the same in every memory. */
export type Address = number | Rows | LevelTable;

/** Room before the first and after the last row of planes. */
const guardBytes = 256;

/** How planes are laid out: elements from row to row, bytes from plane to plane, and bytes of all of them. */
export function planesLayout(
  width: number,
  height: number,
  planes: number,
  elementBytes: 2 | 4,
): { stride: number; planeBytes: number; bytes: number } {
  const stride = Math.ceil((width + 32) / 32) * 32 + 16;
  const planeBytes = Math.ceil((stride * height * elementBytes + 2 * guardBytes) / 64) * 64;
  // Room to move the planes by, see `takePlanes`.
  return { stride, planeBytes, bytes: planeBytes * planes + 2 * guardBytes };
}

/** One plane of a set, as a set of its own. */
export function planeOf(planes: Planes, plane: number): Planes {
  return { ...planes, pointer: planes.pointer + plane * planes.planeBytes, planes: 1 };
}

/**
 * The address of row 0 in one of the memories. Where the memory does not hold that row the address lies outside of what it
 * has; kernels compute addresses modulo 2^32, so that the rows that are there are found.
 */
export function addressIn(address: Address, memory: number): number {
  if (typeof address === 'number') return address;
  if ('levels' in address) return address.pointer;
  const { pointer, rowBytes, window } = address;
  return pointer - window.held[memory].from * rowBytes;
}

type Elements = Uint8Array | Uint16Array | Uint32Array | Int32Array | Float32Array | Float64Array;

class RegionFullError extends Error {}

/**
 * Shared WebAssembly memories with a bump allocator: regions are taken in order and given back by `release`
 * to a mark, which suits stations that follow each other. Growing keeps addresses; views made before are
 * stale after, so they are made anew where they are used.
 *
 * A picture that is too large for one memory is cut into bands of rows, a memory each. What is taken is taken in all of them,
 * at one address.
 */
export class Arena {
  readonly memories: readonly WebAssembly.Memory[];
  private next = firstFree;
  /** End of what was ever taken: memory beyond has never been written and is zero. */
  private touched = firstFree;
  /** End of the region in which is taken, see `takeWithin`. */
  private limit = Infinity;

  constructor(readonly bands: RowBands = oneBand) {
    this.memories = Array.from(
      { length: bands.count },
      () => new WebAssembly.Memory({ initial: 1, maximum: maxArenaPages, shared: true }),
    );
  }

  /** The first of the memories: the only one, but for pictures that are too large for one. */
  get memory(): WebAssembly.Memory {
    return this.memories[0];
  }

  /** Takes `bytes`, aligned to 64. Contents are whatever was there. Throws when 4 GiB are exceeded. */
  take(bytes: number): number {
    const pointer = Math.ceil(this.next / 64) * 64;
    const end = pointer + bytes;
    if (end > this.limit) throw new RegionFullError();
    const pages = Math.ceil(end / pageBytes);
    if (pages > maxArenaPages) {
      throw new InputError(
        `Frames of this size need ${(end / 2 ** 30).toFixed(1)} GiB of working memory; at most 4 GiB can be addressed. Merge smaller pictures.`,
      );
    }
    for (const memory of this.memories) {
      const have = memory.buffer.byteLength / pageBytes;
      if (pages > have) memory.grow(pages - have);
    }
    this.next = end;
    this.touched = Math.max(this.touched, end);
    return pointer;
  }

  /** Most bytes of each memory that were ever taken at once. */
  get peakBytes(): number {
    return this.touched;
  }

  mark(): number {
    return this.next;
  }

  release(mark: number): void {
    this.next = mark;
  }

  /**
   * What `take` takes in a region that has served, below what is taken, where it fits there, or else as usual. What is left
   * of the region is left to the next.
   */
  takeWithin<T>(region: { from: number; to: number }, take: () => T): T {
    const end = this.next;
    this.next = region.from;
    this.limit = region.to;
    try {
      const taken = take();
      region.from = this.next;
      return taken;
    } catch (error) {
      if (!(error instanceof RegionFullError)) throw error;
    } finally {
      this.next = end;
      this.limit = Infinity;
    }
    return take();
  }

  /**
   * Planes with 16 elements of row ends on both sides and a row's worth of room before and after.
   *
   * @param window Rows that the memories hold; default all.
   */
  takePlanes(
    width: number,
    height: number,
    planes: number,
    elementBytes: 2 | 4,
    window: RowWindow = wholeWindow(height, this.memories.length),
  ): Planes {
    const base = this.take(planesLayout(width, mostRows(window), planes, elementBytes).bytes);
    return this.layPlanes(base, width, height, planes, elementBytes, window);
  }

  /** Planes over a region that was taken. */
  layPlanes(
    base: number,
    width: number,
    height: number,
    planes: number,
    elementBytes: 2 | 4,
    window: RowWindow,
  ): Planes {
    const { stride, planeBytes } = planesLayout(width, mostRows(window), planes, elementBytes);
    const endBytes = 16 * elementBytes;
    const at = { rowBytes: stride * elementBytes, endBytes, planeBytes, planes, window };
    const pointer = base + guardBytes + endBytes;
    return { ...at, pointer: awayFromZero({ ...at, pointer }), width, height, stride, elementBytes };
  }

  /** Planes of zeros, row ends included. Memory that was never taken before is zero and left untouched. */
  takeCleared(
    width: number,
    height: number,
    planes: number,
    elementBytes: 2 | 4,
    window?: RowWindow,
  ): Planes {
    const { touched } = this;
    const taken = this.takePlanes(width, height, planes, elementBytes, window);
    const start = taken.pointer - taken.endBytes;
    const end = Math.min(touched, start + taken.planeBytes * planes);
    if (end > start) this.fill(start, end - start, 0);
    return taken;
  }

  /** As `takePlanes`, and whether all of it is memory that was never taken before, which is zero. */
  takeKnowing(
    width: number,
    height: number,
    planes: number,
    elementBytes: 2 | 4,
    window?: RowWindow,
  ): { taken: Planes; isClear: boolean } {
    const { touched } = this;
    const taken = this.takePlanes(width, height, planes, elementBytes, window);
    return { taken, isClear: taken.pointer - taken.endBytes >= touched };
  }

  /** Rows without ends, one plane. */
  takeRows(rowBytes: number, window: RowWindow): Rows {
    const at = { rowBytes, endBytes: 0, planeBytes: 0, planes: 1, window };
    const pointer = this.take(rowBytes * mostRows(window) + 128);
    return { ...at, pointer: awayFromZero({ ...at, pointer }) };
  }

  /** Puts a table into every memory, and returns its address. */
  takeTable(values: Elements): number {
    const pointer = this.take(values.byteLength);
    this.put(pointer, values);
    return pointer;
  }

  /** Where the planes of these levels lie, as a table that kernels read. */
  takeLevels(levels: readonly Planes[]): LevelTable {
    return {
      pointer: this.takeAddresses(levels, ({ planeBytes, stride }) => [planeBytes, stride]),
      levels,
    };
  }

  /** A table of three u32 for each: its address, which differs from memory to memory, and two numbers. */
  takeAddresses<T extends Rows>(of: readonly T[], numbers: (one: T) => [number, number]): number {
    const pointer = this.take(of.length * 12);
    for (const [m, memory] of this.memories.entries()) {
      new Uint32Array(memory.buffer, pointer, of.length * 3).set(
        of.flatMap((one) => [addressIn(one, m), ...numbers(one)]),
      );
    }
    return pointer;
  }

  /** Writes values to an address of every memory. */
  put(pointer: number, values: Elements): void {
    const bytes = new Uint8Array(values.buffer, values.byteOffset, values.byteLength);
    for (const { buffer } of this.memories) new Uint8Array(buffer, pointer, bytes.length).set(bytes);
  }

  /** Fills bytes of every memory. */
  fill(pointer: number, length: number, value: number): void {
    for (const memory of this.memories) {
      directKernels({ memory }, ['fillBytes']).fillBytes({ from: pointer, count: length, value });
    }
  }

  /**
   * Copies the rows that a memory computed to those that hold them as well. To be called when all have computed theirs and
   * before others are read.
   */
  share(rows: Rows): void {
    const { window } = rows;
    if (window.held === window.own) return;
    for (const [to, held] of window.held.entries()) {
      for (const [from, own] of window.own.entries()) {
        const common = { from: Math.max(held.from, own.from), to: Math.min(held.to, own.to) };
        if (from !== to && common.to > common.from) this.copyRows(rows, common, from, to);
      }
    }
  }

  private copyRows(rows: Rows, { from: first, to: past }: RowRange, from: number, to: number): void {
    const length = (past - first) * rows.rowBytes;
    for (let plane = 0; plane < rows.planes; plane++) {
      const start = first * rows.rowBytes + plane * rows.planeBytes - rows.endBytes;
      const source = new Uint8Array(this.memories[from].buffer, addressIn(rows, from) + start, length);
      new Uint8Array(this.memories[to].buffer, addressIn(rows, to) + start, length).set(source);
    }
  }

  /** Bytes of a row from its pixel 0 on, where it was computed. */
  row(rows: Rows, y: number): Uint8Array<SharedArrayBuffer> {
    const memory = rows.window.own.findIndex(({ from, to }) => y >= from && y < to);
    const at = addressIn(rows, memory) + y * rows.rowBytes;
    return new Uint8Array(this.memories[memory].buffer as unknown as SharedArrayBuffer, at, rows.rowBytes);
  }

  /** The same as 16-bit elements. */
  rowU16(rows: Rows, y: number): Uint16Array {
    const { buffer, byteOffset, byteLength } = this.row(rows, y);
    return new Uint16Array(buffer, byteOffset, byteLength >> 1);
  }

  /** A row of 16-bit elements in every memory that holds it. */
  copiesOfRow(rows: Rows, y: number): Uint16Array[] {
    return rows.window.held.flatMap(({ from, to }, m) =>
      y >= from && y < to ? [this.rowsU16(rows, m, y, y + 1)] : [],
    );
  }

  /** A copy of all rows of a plane without row ends, in memory that `take` makes. */
  gather(rows: Rows, take = (bytes: number): Uint8Array => new Uint8Array(bytes)): Uint8Array {
    const { rowBytes, window } = rows;
    const all = take(window.height * rowBytes);
    for (const [m, { from, to }] of window.own.entries())
      all.set(this.rowsIn(rows, m, from, to), from * rowBytes);
    return all;
  }

  /** Bytes of rows `from` to `to` - 1 that a memory holds, from their pixel 0 on. */
  rowsIn(rows: Rows, memory: number, from: number, to: number): Uint8Array {
    const at = addressIn(rows, memory) + from * rows.rowBytes;
    return new Uint8Array(this.memories[memory].buffer, at, (to - from) * rows.rowBytes);
  }

  /** The same as 16-bit elements. */
  rowsU16(rows: Rows, memory: number, from: number, to: number): Uint16Array {
    const { buffer, byteOffset, byteLength } = this.rowsIn(rows, memory, from, to);
    return new Uint16Array(buffer, byteOffset, byteLength >> 1);
  }

  u8(pointer: number, length: number): Uint8Array {
    return new Uint8Array(this.memory.buffer, pointer, length);
  }

  u16(pointer: number, length: number): Uint16Array {
    return new Uint16Array(this.memory.buffer, pointer, length);
  }

  u32(pointer: number, length: number): Uint32Array {
    return new Uint32Array(this.memory.buffer, pointer, length);
  }

  i32(pointer: number, length: number): Int32Array {
    return new Int32Array(this.memory.buffer, pointer, length);
  }

  f64(pointer: number, length: number): Float64Array {
    return new Float64Array(this.memory.buffer, pointer, length);
  }

  f32(pointer: number, length: number): Float32Array {
    return new Float32Array(this.memory.buffer, pointer, length);
  }

  /** Elements of one plane from pixel (0, 0) on, `stride` to the row, where one memory holds all of it. */
  planeU16(p: Planes, plane = 0): Uint16Array {
    return this.u16(p.pointer + plane * p.planeBytes, p.stride * (p.height - 1) + p.width);
  }

  planeF32(p: Planes, plane = 0): Float32Array {
    return this.f32(p.pointer + plane * p.planeBytes, p.stride * (p.height - 1) + p.width);
  }
}

/** The pointer, moved where the address of row 0 would be 0 in some memory, which to kernels means that there is none. */
function awayFromZero(rows: Rows): number {
  const isZero = rows.window.held.some((_, m) =>
    Array.from({ length: rows.planes }, (_, plane) => addressIn(rows, m) + plane * rows.planeBytes).some(
      (address) => address % 2 ** 32 === 0,
    ),
  );
  return isZero ? rows.pointer + 64 : rows.pointer;
}

import { InputError } from '../errors.js';

export const pageBytes = 65536;
export const maxArenaPages = 65536;
/** Start of the arena: the first bytes hold the pool's strip counter. */
const firstFree = 256;

/** Where planes of a picture lie in the arena; see `assembly/common.ts` for the convention. */
export interface Planes {
  /** Address of pixel (0, 0) of the first plane. */
  pointer: number;
  width: number;
  height: number;
  /** Elements from row to row. */
  stride: number;
  /** Bytes from plane to plane. */
  planeBytes: number;
  planes: number;
  elementBytes: 2 | 4;
}

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
  return { stride, planeBytes, bytes: planeBytes * planes + 2 * guardBytes };
}

/**
 * One shared WebAssembly memory with a bump allocator: regions are taken in order and given back by `release`
 * to a mark, which suits stations that follow each other. Growing keeps addresses; views made before are
 * stale after, so they are made anew where they are used.
 */
export class Arena {
  readonly memory = new WebAssembly.Memory({ initial: 1, maximum: maxArenaPages, shared: true });
  private next = firstFree;
  /** End of what was ever taken: memory beyond has never been written and is zero. */
  private touched = firstFree;

  /** Takes `bytes`, aligned to 64. Contents are whatever was there. Throws when 4 GiB are exceeded. */
  take(bytes: number): number {
    const pointer = Math.ceil(this.next / 64) * 64;
    const end = pointer + bytes;
    const pages = Math.ceil(end / pageBytes);
    const have = this.memory.buffer.byteLength / pageBytes;
    if (pages > maxArenaPages) {
      throw new InputError(
        `Frames of this size need ${(end / 2 ** 30).toFixed(1)} GiB of working memory; at most 4 GiB can be addressed. Merge smaller pictures.`,
      );
    }
    if (pages > have) this.memory.grow(pages - have);
    this.next = end;
    this.touched = Math.max(this.touched, end);
    return pointer;
  }

  /** Most bytes that were ever taken at once. */
  get peakBytes(): number {
    return this.touched;
  }

  mark(): number {
    return this.next;
  }

  release(mark: number): void {
    this.next = mark;
  }

  /** Planes with 16 elements of row ends on both sides and a row's worth of room before and after. */
  takePlanes(width: number, height: number, planes: number, elementBytes: 2 | 4): Planes {
    const { stride, planeBytes, bytes } = planesLayout(width, height, planes, elementBytes);
    const base = this.take(bytes);
    return {
      pointer: base + guardBytes + 16 * elementBytes,
      width,
      height,
      stride,
      planeBytes,
      planes,
      elementBytes,
    };
  }

  /** Planes of zeros, row ends included. Memory that was never taken before is zero and left untouched. */
  takeCleared(width: number, height: number, planes: number, elementBytes: 2 | 4): Planes {
    const { touched } = this;
    const taken = this.takePlanes(width, height, planes, elementBytes);
    const start = taken.pointer - 16 * elementBytes;
    const end = Math.min(touched, start + taken.planeBytes * planes);
    if (end > start) this.u8(start, end - start).fill(0);
    return taken;
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

  /** Elements of one plane from pixel (0, 0) on, `stride` to the row. */
  planeU16(p: Planes, plane = 0): Uint16Array {
    return this.u16(p.pointer + plane * p.planeBytes, p.stride * (p.height - 1) + p.width);
  }

  planeF32(p: Planes, plane = 0): Float32Array {
    return this.f32(p.pointer + plane * p.planeBytes, p.stride * (p.height - 1) + p.width);
  }
}

/** Where a set of planes lies: rows interleaved by plane, so that a window of rows of all planes is contiguous. */
export interface PlanesLayout {
  width: number;
  height: number;
  planes: number;
  elementBytes: 1 | 2 | 4;
  /** 32-bit words from the row of a plane to that of the next one. */
  planeWords: number;
  /** Words from row to row of a plane; of frames, whose rows are tight, not given. */
  rowWords: number;
  /** Bytes from row to row. */
  rowBytes: number;
  bytes: number;
}

/** A set of planes in the device's memory. */
export interface GpuPlanes extends PlanesLayout {
  readonly buffer: GPUBuffer;
}

/** A binding may start at any row: bindings start at multiples of 256 bytes on every device. */
export const rowAlignment = 256;

export function gpuLayout(
  width: number,
  height: number,
  planes: number,
  elementBytes: 1 | 2 | 4,
): PlanesLayout {
  const planeWords = (Math.ceil((width * elementBytes) / rowAlignment) * rowAlignment) / 4;
  const rowWords = planeWords * planes;
  const rowBytes = rowWords * 4;
  return { width, height, planes, elementBytes, planeWords, rowWords, rowBytes, bytes: rowBytes * height };
}

/** A frame as it is decoded: interleaved RGB samples, rows tight. Kernels address it by bytes: see `frameByte`. */
export function frameLayout(width: number, height: number, bits: 8 | 16): PlanesLayout {
  const elementBytes = bits === 8 ? 1 : 2;
  const rowBytes = width * 3 * elementBytes;
  const bytes = Math.ceil((rowBytes * height) / 4) * 4;
  return { width, height, planes: 1, elementBytes, planeWords: 0, rowWords: 0, rowBytes, bytes };
}

/** Threads of a row of 16-bit elements, two to a word. */
export function wordsOf(width: number): number {
  return (width + 1) >> 1;
}

/** Rows of a set, from .. to - 1, that rows from .. to - 1 of a dispatch touch; what lies outside of the set is cut off. */
export type RowsOf = (from: number, to: number) => readonly [number, number];

/** The same rows, and `halo` to either side. */
export function sameRows(halo = 0): RowsOf {
  return (from, to) => [from - halo, to + halo];
}

/** Of a set of twice the height, and `halo` of its rows to either side. */
export function finerRows(halo = 0): RowsOf {
  return (from, to) => [2 * from - halo, 2 * to + halo];
}

/** Of a set of half the height, and `halo` of its rows to either side. */
export function coarserRows(halo = 0): RowsOf {
  return (from, to) => [(from >> 1) - halo, ((to + 1) >> 1) + halo];
}

/**
 * Rows of a set that rows of a dispatch, `width` pixels wide, are placed on by a transform, and `halo` to either side.
 *
 * @param finer Rows and columns of the transform's grid that one of the dispatch stands for.
 */
export function placedRows(
  { d, e, f }: { d: number; e: number; f: number },
  width: number,
  halo: number,
  finer = 1,
): RowsOf {
  return (from, to) => {
    const rows = [0, d * width * finer].flatMap((across) =>
      [from * finer, to * finer].map((y) => across + e * y + f),
    );
    return [Math.floor(Math.min(...rows)) - halo, Math.ceil(Math.max(...rows)) + halo];
  };
}

/** All rows: the set must fit into one binding. */
export const allRows: RowsOf = () => [0, Number.MAX_SAFE_INTEGER];

/** A set of which a dispatch touches other rows than those that it works on. */
export interface RowWindow {
  set: GpuPlanes;
  rows: RowsOf;
}

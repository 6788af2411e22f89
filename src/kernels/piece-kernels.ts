import { Arena } from './arena.js';
import { directKernels } from './direct-kernels.js';

/** Kernels for a picture that lies outside of WebAssembly's memory, which is copied there piece by piece. */
export type PieceKernels = ReturnType<typeof makePieceKernels>;

let ofThread: PieceKernels | undefined;

/** Those of this thread, with memory for the piece in work. */
export function pieceKernels(): PieceKernels {
  ofThread ??= makePieceKernels();
  return ofThread;
}

function makePieceKernels() {
  const arena = new Arena();
  const start = arena.mark();
  return {
    ...directKernels(arena, [
      'addSpotResponses',
      'adlerOf',
      'blockLight',
      'boxLogs',
      'correlateShift',
      'countClipped',
      'detailCells',
      'encodedLuma',
      'filterRows',
      'fitDistances',
      'fitEquations',
      'fitPeak',
      'halvePicture',
      'integrateUnits',
      'lightPairs',
      'peakSamples',
      'robustRatio',
      'roundLuma',
      'subtractWarped',
    ]),
    /** Room for parts of so many bytes each, in place of that which was given before, and behind each some that may be written. */
    take(...bytes: number[]): Uint8Array[] {
      arena.release(start);
      const pointers = bytes.map((count) => arena.take(count + 64));
      return pointers.map((pointer, i) => arena.u8(pointer, bytes[i]));
    },
  };
}

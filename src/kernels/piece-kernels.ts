import { Arena } from './arena.js';
import { type DirectKernels, directKernels } from './direct-kernels.js';

/** Room for an array: its bytes, or its type and length. */
type Room = number | readonly [ArrayType, number];
interface ArrayType {
  readonly BYTES_PER_ELEMENT: number;
  new (buffer: ArrayBufferLike, byteOffset: number, length: number): ArrayBufferView;
}

/** Kernels for a picture that lies outside of WebAssembly's memory, which is copied there piece by piece. */
export interface PieceKernels extends DirectKernels {
  /** Arrays in place of those which were given before, and behind each some bytes that may be written. */
  take<const T extends readonly Room[]>(
    ...rooms: T
  ): {
    -readonly [I in keyof T]: T[I] extends readonly [infer A extends ArrayType, number]
      ? InstanceType<A>
      : Uint8Array;
  };
}

let ofThread: PieceKernels | undefined;

/** Those of this thread, with memory for the piece in work. */
export function pieceKernels(): PieceKernels {
  ofThread ??= makePieceKernels();
  return ofThread;
}

function makePieceKernels(): PieceKernels {
  const arena = new Arena();
  const start = arena.mark();
  const take = (...rooms: Room[]) => {
    arena.release(start);
    const typed = rooms.map((room) => (typeof room === 'number' ? ([Uint8Array, room] as const) : room));
    const pointers = typed.map(([Type, length]) => arena.take(length * Type.BYTES_PER_ELEMENT + 64));
    return typed.map(([Type, length], i) => new Type(arena.memory.buffer, pointers[i], length));
  };
  return { ...directKernels(arena), take: take as PieceKernels['take'] };
}

/** The same memory by bytes. */
export function bytesOf({ buffer, byteOffset, byteLength }: ArrayBufferView): Uint8Array {
  return new Uint8Array(buffer, byteOffset, byteLength);
}

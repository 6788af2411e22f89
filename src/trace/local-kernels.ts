import { Arena } from '../kernels/arena.js';
import {
  compileKernels,
  instantiateKernels,
  type KernelExports,
  type KernelName,
  lanczosTaps,
  orderArguments,
  type StripArguments,
  tapTableBytes,
} from '../kernels/kernels.js';

export const stripRows = 32;

/**
 * The kernels in this thread, over memory of their own: for single regions, where starting workers would take
 * longer than the work. What is taken from the arena is given back by `within`.
 */
export class LocalKernels {
  /** Address of the tap table of the warp. */
  readonly taps: number;

  private constructor(
    readonly arena: Arena,
    private readonly kernels: KernelExports,
  ) {
    this.taps = arena.take(tapTableBytes);
    arena.f32(this.taps, tapTableBytes / 4).set(lanczosTaps());
  }

  static async start(): Promise<LocalKernels> {
    const arena = new Arena();
    return new LocalKernels(arena, await instantiateKernels(await compileKernels(), arena.memory));
  }

  /** Runs `work`, then gives back all that it took from the arena. */
  within<T>(work: () => T): T {
    const mark = this.arena.mark();
    try {
      return work();
    } finally {
      this.arena.release(mark);
    }
  }

  /** A kernel over all strips of `rows` rows; `given` are its arguments by name, less those of the strips. */
  run<K extends KernelName>(
    kernel: K,
    given: Omit<StripArguments<K>, 'stripRows'>,
    rows: number,
    scratch: number,
  ): void {
    const args = orderArguments(kernel, { ...given, stripRows } as StripArguments<K>);
    for (let strip = 0; strip * stripRows < rows; strip++) this.kernels[kernel](...args, strip, scratch);
  }
}

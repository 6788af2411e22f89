// Parameters of mallopt (malloc.h of glibc), and its own defaults: blocks from 128 KB on are mapped by themselves, so
// that the system has them back when they are freed.
const trimThreshold = -1;
const mmapThreshold = -3;
const mmapMax = -4;
const defaultBytes = 131_072;
const defaultMaps = 65_536;

/**
 * Gives memory that has been freed back to the system, now and from now on. Commands that decode let the allocator keep
 * it for the next frame (`cli/reuse-memory.ts`), which is waste once frames are read to where they are worked on. Does
 * nothing without glibc, or without the bindings.
 */
export async function releaseMemory(): Promise<void> {
  if (process.platform !== 'linux') return;
  try {
    const { default: koffi } = await import('koffi');
    const libc = koffi.load('libc.so.6');
    const mallopt = libc.func('int mallopt(int parameter, int value)');
    mallopt(trimThreshold, defaultBytes);
    mallopt(mmapThreshold, defaultBytes);
    mallopt(mmapMax, defaultMaps);
    libc.func('int malloc_trim(size_t pad)')(0);
  } catch {
    // More memory stays with the process, and nothing else.
  }
}

import { InterruptedError } from '../errors.js';

/**
 * `action` over all items, at most `limit` at once; results in the order of the items.
 * The first rejection is passed on; after it, or once `signal` is aborted, no further item is begun.
 */
export async function mapLimited<Item, Result>(
  items: readonly Item[],
  limit: number,
  action: (item: Item) => Promise<Result>,
  signal?: AbortSignal,
): Promise<Result[]> {
  const results: Result[] = new Array(items.length);
  let next = 0;
  let failed = false;
  const runner = async (): Promise<void> => {
    while (next < items.length && !failed) {
      if (signal?.aborted) throw new InterruptedError();
      const index = next++;
      try {
        results[index] = await action(items[index]);
      } catch (error) {
        failed = true;
        throw error;
      }
    }
  };
  await Promise.all(Array.from({ length: Math.min(limit, items.length) }, runner));
  return results;
}

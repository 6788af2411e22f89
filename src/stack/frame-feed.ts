/** One item of a feed: its decoded value, or the error. */
export type Fed<Item, Value> = { item: Item; value: Value } | { item: Item; error: unknown };

/**
 * Decodes items in order, up to `ahead` of them in advance, so that decoding overlaps the work on the frame before. An
 * error is yielded for its item and does not end the feed.
 */
export async function* feedFrames<Item, Value>(
  items: readonly Item[],
  decode: (item: Item) => Promise<Value>,
  ahead: number,
): AsyncGenerator<Fed<Item, Value>> {
  const waiting: Promise<Fed<Item, Value>>[] = [];
  let next = 0;
  const startNext = () => {
    const item = items[next++];
    waiting.push(
      decode(item).then(
        (value) => ({ item, value }),
        (error: unknown) => ({ item, error }),
      ),
    );
  };
  while (next < items.length || waiting.length > 0) {
    while (next < items.length && waiting.length <= ahead) startNext();
    yield await waiting.shift()!;
  }
}

/**
 * Waits for writers that run side by side, also where one fails: nothing goes on writing behind the back of who tidies up.
 *
 * @returns Their values, in order. Throws the first error in the order of the writers, whichever came first in time.
 */
export async function writeTogether<const Values extends readonly unknown[]>(
  writers: {
    [K in keyof Values]: Promise<Values[K]>;
  },
): Promise<Values> {
  const ended = await Promise.allSettled(writers);
  const failed = ended.find((end) => end.status === 'rejected');
  if (failed) throw failed.reason;
  return ended.map((end) => (end as PromiseFulfilledResult<unknown>).value) as unknown as Values;
}

/** Numbers in [0, 1) that a seed repeats: the 32-bit generator of Park & Miller 1988 (a = 48271). */
export function seededRandom(seed: number): () => number {
  let state = (seed % 2147483646) + 1;
  return () => {
    state = (state * 48271) % 2147483647;
    return (state - 1) / 2147483646;
  };
}

/** Numbers of a normal law with mean 0 and deviation 1, by Box & Muller's transform. */
export function seededNormal(seed: number): () => number {
  const random = seededRandom(seed);
  return () => Math.sqrt(-2 * Math.log(1 - random())) * Math.cos(2 * Math.PI * random());
}
